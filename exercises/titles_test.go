package exercises

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

var (
	buildsOn = regexp.MustCompile(`Builds on ([^\n]*?)\. You need`)
	italic   = regexp.MustCompile(`\*([^*]+)\*`)
	heading  = regexp.MustCompile(`(?m)^#{1,6} (.+)$`)
)

// TestNotebooksNameTheirLabs: a notebook's head names itself, its time and the
// labs that it builds on as the bank does, and so does the lecturers' page.
func TestNotebooksNameTheirLabs(t *testing.T) {
	page, err := os.ReadFile(filepath.Join("..", "notebooks", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, lab := range Labs() {
		if lab.Asks == "" {
			t.Errorf("lab %s has no sentence for the start page", lab.Number())
		}
		head := readLab(t, lab).Cells[0].Source
		if !strings.HasPrefix(head, "# "+lab.Title+"\n") {
			t.Errorf("%s does not begin with its title, %q", lab.ID, lab.Title)
		}
		if want := fmt.Sprintf("about %d minutes", lab.Minutes); !strings.Contains(strings.ToLower(head), want) {
			t.Errorf("%s does not say %q", lab.ID, want)
		}
		var named, want, numbers []string
		if m := buildsOn.FindStringSubmatch(head); m != nil {
			for _, title := range italic.FindAllStringSubmatch(m[1], -1) {
				named = append(named, title[1])
			}
		}
		for _, id := range lab.BuildsOn {
			other, err := Find(id)
			if err != nil {
				t.Error(err)
			}
			want, numbers = append(want, other.Title), append(numbers, other.Number())
		}
		if fmt.Sprint(named) != fmt.Sprint(want) {
			t.Errorf("%s says that it builds on %q; in the bank it builds on %q", lab.ID, named, want)
		}
		row := regexp.MustCompile(`(?m)^\| ` + lab.Number() + ` [^|]*\|[^|]*\| ([^|]*) \|`).FindSubmatch(page)
		if len(numbers) == 0 {
			numbers = []string{"–"}
		}
		if row == nil || string(row[1]) != strings.Join(numbers, ", ") {
			t.Errorf("README.md: the line of lab %s should say that it builds on %s", lab.Number(), strings.Join(numbers, ", "))
		}
	}
}

// TestTitlesDiffer: lists of questions and of headings are what people find
// their way by.
func TestTitlesDiffer(t *testing.T) {
	for _, lab := range Labs() {
		seen := map[string]bool{}
		for _, c := range readLab(t, lab).Cells {
			if c.Kind != notebook.Markdown {
				continue
			}
			for _, m := range heading.FindAllStringSubmatch(c.Source, -1) {
				if seen[m[1]] {
					t.Errorf("%s has two headings %q", lab.ID, m[1])
				}
				seen[m[1]] = true
			}
		}
		asked := map[string]bool{}
		for _, q := range lab.Sheet("").Questions {
			if asked[q.Title] {
				t.Errorf("lab %s has two questions %q", lab.ID, q.Title)
			}
			asked[q.Title] = true
		}
	}
}

func readLab(t *testing.T, lab bank.Lab) *notebook.Notebook {
	t.Helper()
	nb, err := notebook.ReadFile(filepath.Join("..", "notebooks", lab.ID+".ipynb"), notebook.Options{NeedKernel: true})
	if err != nil {
		t.Fatal(err)
	}
	return nb
}

// TestTracks: who follows a track meets every lab that another one builds on.
func TestTracks(t *testing.T) {
	for _, lab := range Labs() {
		for _, track := range lab.Tracks {
			for _, id := range lab.BuildsOn {
				other, err := Find(id)
				if err != nil {
					t.Error(err)
				} else if len(other.Tracks) > 0 && !slices.Contains(other.Tracks, track) {
					t.Errorf("%s builds on %s, which is not in the track %q", lab.ID, id, track)
				}
			}
		}
	}
}
