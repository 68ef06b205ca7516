package gravlab_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page/apparatus"
)

// A usage is English that makes a reader stop, with what to write.
type usage struct {
	pattern *regexp.Regexp
	write   string
}

func usages(pairs ...string) []usage {
	var list []usage
	for i := 0; i < len(pairs); i += 2 {
		list = append(list, usage{regexp.MustCompile(pairs[i]), pairs[i+1]})
	}
	return list
}

// plain is for everything that a reader sees. It holds what has been found and
// put right; a native physics lecturer would write the second column.
var plain = usages(
	`(?i)\b(give|gives|gave|giving) (it |them |nothing |an answer |your answer |your numbers )?in\b`, "enter, submit or hand in",
	`(?i)\bgiven in( yet| again)?([.,;:|]|$)`, "entered, submitted or handed in",
	`(?i)\b(some|no|every|any)body\b|\bwhoever\b`, "you, someone, no one, or the passive",
	`(^|\b(a|one|the|another|no) )factors? [0-9√]+(\.[0-9]+)?( [a-z]|[.,;:)|]|$)`, "factor of 2",
	`\b(in|for) (each|every) (second|minute|hour|day|year|metre|kilometre|kelvin|swing)\b`, "per hour",
	`(?i)\b(samples?|readings?|times|waves?|lines?|rows?|steps?|degrees|metres) an? (second|minute|hour|day|night|year|swing|student|answer|row|lab|sheet|metre|kilometre)\b`, "20 samples per second, one row per student",
	`(?i)\bdrawn \S+ times too (large|wide|high)\b|\btimes too fast\b`, "exaggerated, sped up",
	`(?i)\b(go|goes|grow|grows|fall|falls|rise|rises) (about |roughly )?with the (inverse |fourth )?(square|cube|root)\b`, "as the square, as the inverse square",
	`(?i)\b(formula|series|law|density|method|program|page|cell|question|labs?|they) wants?\b`, "needs",
	`(?i)\bfor which (force|mass|length|depth|frequency|period|speed|value)\b`, "What force … for?",
	`(?i)\b(take|takes|took|taken|taking) (it |them |that )?off\b`, "subtract",
	`(?i)\ball counted\b`, "included, exact",
	`(^|[^e] )is no (ordinary|zip|tar|power|whole|class|CSV|name|record|list|notebook|question|folder|file|number|text)\b`, "is not a",
	`\bstands? (twice|behind the|side by side)\b|\bhangs? on (nothing|what)\b|\bparted by\b`, "is there twice, depends on, separated by",
	`(?i)\bmends\b|\b(to|would|is|was|be|not) mend(ed)?\b|\bmend (it|them|the)\b`, "correct, cure",
	`(?i)\btaken for\b`, "instead of, mistaken for",
	`(?i)\b(takes? the|in the) place of\b`, "instead of, replace",
	`(?i)\bshares? of\b|\b(what|which|the|its|their|wanted) shares?\b`, "fraction, contribution",
	`(?i)\bhalf (of )?(the|its) (whole )?way\b|\bwhole way\b|\bends? of its way\b|\bway (grows|falls)\b`, "distance, path",
	`(?i)\b(its|the|only its) part (along|across)\b`, "component",
	`(?i)\bleaves over\b|\breading less fit\b`, "residuals, reading minus fit",
	`(?i)\bstands in the (bank|header|table|question|file)\b`, "is in",
	`\b[Mm]ind (that|what|heat|the)\b`, "note, watch out for",
	`(?i)\bexperiment beside the notebook\b`, "if you also do the real experiment",
	`(?i)\bafterwards you can\b`, "After this lab you can",
	`(?i)\bloses? its step\b`, "jump out of step",
)

// A verdict is read on the page and in a reply a week later, when nothing can
// be entered again and there is no next question.
var inVerdicts = usages(`(?i)\bagain\b|\bnext (question|answer|lab|time)\b|\bgo on with\b`, "say it so that it also reads right in a reply a week later")

// onPage is for captions and controls.
var onPage = usages(
	`\bGo on with\b|\bgoes on by itself\b`, "continue, carry on",
	`(?i)\blooks? into the\b`, "explore",
	`\btimes too \w+|\bdied to\b`, "exaggerated, sped up; falls to 1/e",
	`(?i)\bwhere it will\b|\bits form\b|\bat the middle\b|\bone like it\b|\bshaking ground\b`, "a noun: rest angle, shape, torque at θ = 0",
	`\bdeg\b`, "°",
)

// A slip is named "X instead of Y", "X ignored" or "X kept".
var inSlipNames = usages(`(?i)\b(left (out|in)|given for|not counted)\b|\b(lost|forgotten)$`, "X instead of Y, X ignored, X kept")

// pages are those of the clone for people.
var pages = []string{
	"../README.md", "../notebooks/README.md", "../exercises/README.md", "../DEVELOPERS.md", "teach/KEPT.md",
	"../exercises/testdata/plumb/period.md", "../testdata/LICENSES.md", "../testdata/SOURCES.md",
}

var (
	fencedCode = regexp.MustCompile("(?s)```.*?```")
	fields     = regexp.MustCompile(`\[\[[^\]]*\]\]`)
	comments   = regexp.MustCompile(`//.*`)
	tags       = regexp.MustCompile(`(?s)<style>.*?</style>|<[^>]*>`)
	quoted     = regexp.MustCompile(`"[^"\n]*"`)
)

// plainly tries lists of usages on a text, paragraph by paragraph, without its code,
// its TeX and the fields of a bank.
func plainly(t *testing.T, where, text string, lists ...[]usage) {
	text = links.ReplaceAllString(texSpan.ReplaceAllString(codeSpan.ReplaceAllString(fields.ReplaceAllString(text, "x"), " c "), " x "), " ")
	for _, paragraph := range strings.Split(text, "\n\n") {
		line := strings.Join(strings.Fields(paragraph), " ")
		for _, list := range lists {
			for _, u := range list {
				if m := u.pattern.FindString(line); m != "" {
					t.Errorf("%s: %q: write %s, in: %s", where, m, u.write, line)
				}
			}
		}
	}
}

// spoken is what a reader reads of a piece of Go: its comments and its strings.
func spoken(source string) string {
	return strings.Join(append(comments.FindAllString(source, -1), quoted.FindAllString(source, -1)...), "\n\n")
}

// programTexts are the strings of the program's Go, the doc comments of what it exports and its
// HTML templates, each with its place: verdicts, errors, the command line, replies, go doc.
func programTexts(t *testing.T) map[string]string {
	texts := map[string]string{}
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if d.Name() == "testdata" {
				return filepath.SkipDir
			}
			return nil
		}
		if strings.HasSuffix(path, ".html") {
			text, err := os.ReadFile(path)
			texts[path] = tags.ReplaceAllString(string(text), " ")
			return err
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		set := token.NewFileSet()
		file, err := parser.ParseFile(set, path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		texts[path] = file.Doc.Text()
		ast.Inspect(file, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				text, err := strconv.Unquote(l.Value)
				if err != nil {
					t.Error(err)
				}
				texts[set.Position(l.Pos()).String()] = text
			}
			return true
		})
		ast.FileExports(file)
		ast.Inspect(file, func(n ast.Node) bool {
			if c, ok := n.(*ast.CommentGroup); ok && c != file.Doc {
				texts[set.Position(c.Pos()).String()] = c.Text()
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(texts) < 1000 {
		t.Fatalf("the program has only %d strings", len(texts))
	}
	return texts
}

// TestPlainEnglish reads the labs, the pages of the clone, what the page shows and what the
// program says for words that stop a reader.
func TestPlainEnglish(t *testing.T) {
	for _, u := range append(append(append(append([]usage{}, plain...), inVerdicts...), inSlipNames...), onPage...) {
		if u.pattern.MatchString("") {
			t.Errorf("the pattern %s matches everything", u.pattern)
		}
	}
	for _, path := range pages {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		plainly(t, path, fencedCode.ReplaceAllString(string(text), ""), plain)
	}
	for place, text := range programTexts(t) {
		plainly(t, place, text, plain)
		if strings.HasPrefix(place, "judge"+string(filepath.Separator)) {
			plainly(t, place, text, inVerdicts)
		}
	}
	// What the page shows: its captions and controls, and the virtual apparatus.
	scripts, err := filepath.Glob(filepath.Join("[pt]*", "assets", "*.js")) // page and teach
	if err != nil || len(scripts) == 0 {
		t.Fatalf("the page has no scripts: %v", err)
	}
	for _, path := range scripts {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		plainly(t, path, strings.Join(quoted.FindAllString(string(text), -1), "\n\n"), plain, onPage)
	}
	for _, s := range apparatus.Scenes() {
		plainly(t, s.Title, s.Title+"\n\n"+s.Note, plain, onPage)
		for _, c := range s.Controls {
			plainly(t, s.Title, c.Label+" "+c.Unit, plain, onPage)
		}
		state, err := s.At(nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range state.Numbers {
			plainly(t, s.Title, n.Label+" "+n.Unit, plain, onPage)
		}
		plainly(t, s.Title, state.Says, plain, onPage)
	}
	for _, lab := range exercises.Labs() {
		nb, err := notebook.ReadFile(filepath.Join("..", "notebooks", lab.ID+".ipynb"), notebook.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range nb.Cells {
			where := fmt.Sprintf("%s, cell %d", lab.ID, i+1)
			if c.Kind == notebook.Markdown {
				plainly(t, where, c.Source, plain)
			} else {
				plainly(t, where, spoken(c.Source), plain)
			}
		}
		files, err := filepath.Glob(filepath.Join("..", "exercises", "lab"+lab.Number(), "*.md"))
		if err != nil || len(files) == 0 {
			t.Fatalf("lab %s has no texts: %v", lab.ID, err)
		}
		for _, path := range files {
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			for _, code := range fencedCode.FindAllString(string(text), -1) {
				plainly(t, path, spoken(code), plain)
			}
			plainly(t, path, fencedCode.ReplaceAllString(string(text), ""), plain)
		}
		for _, q := range lab.Sheet(bank.Code("")).Questions {
			id := lab.FullID(q.ID)
			for _, h := range q.Hints {
				plainly(t, id+", hint", h, inVerdicts)
			}
			for _, o := range q.Options {
				plainly(t, id+", option "+o.Letter, o.Idea, inVerdicts)
			}
			for _, s := range append(q.Slips, q.USlips...) {
				plainly(t, id+", slip "+s.ID, s.Fix, inVerdicts)
				plainly(t, id+", slip "+s.ID, s.Name, inSlipNames)
			}
			if q.Function != nil {
				for _, s := range q.Function.Slips {
					plainly(t, id+", slip "+s.ID, s.Fix, inVerdicts)
					plainly(t, id+", slip "+s.ID, s.Name, inSlipNames)
				}
			}
		}
	}
}
