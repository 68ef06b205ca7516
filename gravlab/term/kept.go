package term

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"cmp"
	"compress/gzip"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/marking"
)

// A Trace is a file, or a folder that the program made as one, that says something about
// students of a class.
type Trace struct {
	Path string
	Kind string
	// Students are the ids of those whom it names, by id, by full name or by the code of a
	// sheet. It is empty for what is about the class as a whole, such as the key.
	Students []string
	Files    int    // in a folder
	Ours     bool   // the program made it, or it is a sheet of this class: Forget removes it
	order    int    // of removal: recordings before the sheets that they are known by, the key last
	root     string // the place that it was found in
}

// A Search looks for what is kept about a class.
type Search struct {
	Class   marking.Class
	List    string   // the class list
	KeyFile string   // may not be there
	Key     []byte   // empty: sheets are known by their lists and records alone
	Places  []string // folders and files to look through
	Data    string   // the program's data folder; may be empty
}

const (
	mostLooked = 50 << 20 // bytes of a file that is looked through
	mostPacked = 1 << 30  // bytes of all files of an archive
)

// searcher is a Search at work.
type searcher struct {
	Search
	codes map[string]string     // student, by code
	ids   map[string]string     // student, by id in small letters
	names map[string][]fullName // by first word
	skip  map[string]bool       // found already
	all   []Trace
	// Unread are files that are too large or cannot be read.
	unread []string
}

type fullName struct {
	words []string
	id    string
}

// Kept lists what is kept about a class in some folders and in the program's data folder.
// Unread are files that could not be looked through.
func Kept(s Search) (traces []Trace, unread []string, err error) {
	k := &searcher{Search: s, codes: map[string]string{}, ids: map[string]string{}, names: map[string][]fullName{}, skip: map[string]bool{}}
	for _, st := range s.Class.Students {
		for _, id := range append([]string{st.ID}, st.Members...) {
			k.ids[strings.ToLower(id)] = id
		}
		if words := letters(st.Name); len(words) > 1 { // Ada alone may be anyone
			k.names[words[0]] = append(k.names[words[0]], fullName{words, st.ID})
		}
		if len(s.Key) == 0 {
			continue
		}
		for _, lab := range exercises.Labs() {
			k.codes[string(bank.StudentCode(s.Key, lab.ID, st.ID, ""))] = st.ID
			k.codes[string(bank.SealedCode(s.Key, lab.ID, st.ID, ""))] = st.ID
		}
	}
	k.found(Trace{Path: s.List, Kind: "class list", Students: k.everyone(), Ours: true, order: 1})
	if _, err := os.Stat(s.KeyFile); err == nil {
		k.found(Trace{Path: s.KeyFile, Kind: "class key", Ours: true, order: 1})
		k.records()
	}
	for _, place := range s.Places {
		if err := k.walk(place); err != nil {
			return nil, nil, err
		}
	}
	if s.Data != "" {
		if _, err := os.Stat(s.Data); err == nil {
			if err := k.walk(s.Data); err != nil {
				return nil, nil, err
			}
		}
	}
	slices.SortStableFunc(k.all, func(a, b Trace) int { return strings.Compare(a.Path, b.Path) })
	return k.all, k.unread, nil
}

func (k *searcher) everyone() []string {
	var ids []string
	for _, s := range k.Class.Students {
		ids = append(ids, s.ID)
	}
	return ids
}

func (k *searcher) found(t Trace) {
	abs, err := filepath.Abs(t.Path)
	if err != nil || k.skip[abs] {
		return
	}
	k.skip[abs] = true
	k.all = append(k.all, t)
}

// records takes the records of handouts beside the key: they know the codes of resits too.
func (k *searcher) records() {
	for _, r := range marking.HandoutRecords(k.KeyFile) {
		for id, code := range r.Codes {
			k.codes[string(code)] = id
		}
		k.found(Trace{Path: r.Path, Kind: "record of a handout", Students: slices.Sorted(maps.Keys(r.Codes)), Ours: true, order: 1})
	}
}

// walk looks through a folder or a file.
func (k *searcher) walk(root string) error {
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			if path == root {
				return wrong(root, 0, "cannot be looked through: %v", errors.Unwrap(err))
			}
			k.unread = append(k.unread, path)
			return nil
		}
		abs, err := filepath.Abs(path)
		if err != nil {
			return err
		}
		switch {
		case k.skip[abs] && d.IsDir():
			return filepath.SkipDir
		case k.skip[abs]:
			return nil
		case d.IsDir() && path != root && strings.HasPrefix(d.Name(), "."):
			return filepath.SkipDir
		case d.IsDir():
			if kind := folderKind(path); kind != "" {
				students, files := k.folder(path)
				if len(students) > 0 || files > 0 {
					k.found(Trace{Path: path, Kind: kind, Students: students, Files: files, Ours: len(students) > 0, root: root})
				}
				return filepath.SkipDir
			}
			return nil
		case !d.Type().IsRegular():
			return nil
		}
		if t, ok := k.file(root, path); ok {
			k.found(t)
		}
		return nil
	})
}

// hourKind is the folder of gravlab teach.
const hourKind = "lab hour: cards, sheets, work, answers"

// folderKind is what the program made a folder for; empty if it did not.
func folderKind(dir string) string {
	is := func(names ...string) bool {
		for _, name := range names {
			if _, err := os.Stat(filepath.Join(dir, name)); err != nil {
				return false
			}
		}
		return true
	}
	switch {
	case is("store", "replies"):
		return "marks books, answers and replies"
	case is(historyName, "pages"):
		return "totals and pages of a term"
	case is("codes.json", "sheets"):
		return hourKind
	}
	return ""
}

// folder is whom the files of a folder name.
func (k *searcher) folder(dir string) (students []string, files int) {
	named := map[string]bool{}
	filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return nil
		}
		files++
		for id := range k.named(dir, path).students {
			named[id] = true
		}
		return nil
	})
	return slices.Sorted(maps.Keys(named)), files
}

// A naming is what a file says of students.
type naming struct {
	students map[string]bool
	code     bool // it holds the code of a sheet of this class
}

// file says what a file is, if it names a student.
func (k *searcher) file(root, path string) (Trace, bool) {
	n := k.named(root, path)
	t := Trace{Path: path, root: root, Students: slices.Sorted(maps.Keys(n.students))}
	if len(t.Students) == 0 {
		return t, false
	}
	ext := strings.ToLower(filepath.Ext(path))
	data := k.Data != "" && inside(path, []string{k.Data})
	switch {
	case data && ext == ".jsonl":
		t.Kind, t.Ours = "log of answers", n.code
	case data:
		t.Kind, t.Ours = "working copy", n.code
	case strings.HasSuffix(path, "-codes.csv"):
		t.Kind, t.Ours = "list of codes", n.code
	case ext == ".csv" && isRules(path):
		t.Kind, t.Ours = "rules of a term", true
	case ext == ".ipynb":
		t.Kind, t.Ours = "sheet", n.code
	case (ext == ".csv" || filepath.Base(path) == labserver.RecordingsList) && k.besideSheet(path):
		t.Kind, t.Ours, t.order = "recording beside a sheet", true, -1
	case n.code && isArchive(path):
		t.Kind, t.Ours = "archive with sheets or replies", true
	case n.code && ext == ".html":
		t.Kind, t.Ours = "page about a sheet", true
	default:
		t.Kind = "not made by this program"
	}
	return t, true
}

// besideSheet reports whether a sheet of the class lies in the same folder.
func (k *searcher) besideSheet(path string) bool {
	books, err := filepath.Glob(filepath.Join(globQuote(filepath.Dir(path)), "*.ipynb"))
	return err == nil && slices.ContainsFunc(books, func(b string) bool { return k.named(filepath.Dir(b), b).code })
}

func globQuote(dir string) string {
	return strings.NewReplacer("*", "?", "[", "?", "\\", string(filepath.Separator)).Replace(dir)
}

func isRules(path string) bool {
	_, err := marking.ReadRecords(path, []string{"rule", "lab", "id", "value"})
	return err == nil
}

func isArchive(path string) bool {
	name := strings.ToLower(path)
	return slices.ContainsFunc([]string{".zip", ".tar", ".tar.gz", ".tgz"}, func(end string) bool { return strings.HasSuffix(name, end) })
}

// named is whom a file names: in its path below root, or in what it says.
func (k *searcher) named(root, path string) naming {
	n := naming{students: map[string]bool{}}
	if rel, err := filepath.Rel(root, path); err == nil {
		k.place(filepath.ToSlash(rel), &n)
	}
	info, err := os.Stat(path)
	if err != nil {
		k.unread = append(k.unread, path)
		return n
	}
	if !isArchive(path) {
		if info.Size() > mostLooked {
			k.unread = append(k.unread, path)
			return n
		}
		text, err := os.ReadFile(path)
		if err != nil {
			k.unread = append(k.unread, path)
			return n
		}
		k.text(path, text, &n)
		return n
	}
	if f, err := os.Open(path); err == nil {
		defer f.Close()
		if !k.archive(path, f, info.Size(), &n, 0) {
			k.unread = append(k.unread, path)
		}
	} else {
		k.unread = append(k.unread, path)
	}
	return n
}

// place takes in the parts of a path.
func (k *searcher) place(path string, n *naming) {
	for part := range strings.SplitSeq(path, "/") {
		stem := strings.TrimSuffix(part, filepath.Ext(part))
		for _, word := range []string{part, stem} {
			if id, ok := k.ids[strings.ToLower(word)]; ok {
				n.students[id] = true
			}
		}
		k.words(stem, n)
	}
}

// text takes in what a file says.
func (k *searcher) text(path string, text []byte, n *naming) {
	if bytes.IndexByte(text[:min(len(text), 4096)], 0) >= 0 && !bytes.HasPrefix(text, []byte("\xff\xfe")) && !bytes.HasPrefix(text, []byte("\xfe\xff")) {
		return // a picture or the like; its name has been looked at
	}
	s := string(text)
	switch strings.ToLower(filepath.Ext(path)) {
	case ".html", ".htm", ".svg", ".xml":
		s = html.UnescapeString(s)
	case ".csv":
		// A short id counts where it is a cell of its own.
		for cell := range strings.FieldsFuncSeq(s, func(r rune) bool { return strings.ContainsRune(",;\t\r\n\" '", r) }) {
			if id, ok := k.ids[strings.ToLower(cell)]; ok {
				n.students[id] = true
			}
		}
	}
	k.words(s, n)
}

var token = regexp.MustCompile(`[0-9A-Za-z]+(?:[._@+-]+[0-9A-Za-z]+)*`)

// shortestID is how long an id has to be to be known in the middle of a text.
const shortestID = 4

// words takes in ids, codes and full names in a text.
func (k *searcher) words(text string, n *naming) {
	for _, word := range token.FindAllString(text, -1) {
		if id, ok := k.codes[word]; ok {
			n.students[id], n.code = true, true
		}
		if id, ok := k.ids[strings.ToLower(word)]; ok && len(word) >= shortestID {
			n.students[id] = true
		}
		for _, piece := range strings.FieldsFunc(word, func(r rune) bool { return r == '_' || r == '-' }) {
			if id, ok := k.ids[strings.ToLower(piece)]; ok && len(piece) >= shortestID && piece != word {
				n.students[id] = true
			}
		}
	}
	words := letters(text)
	for i, w := range words {
		for _, name := range k.names[w] {
			if len(name.words) <= len(words)-i && slices.Equal(name.words, words[i:i+len(name.words)]) {
				n.students[name.id] = true
			}
		}
	}
}

// letters are the words of a text in small letters.
func letters(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.Is(unicode.Mn, r) })
}

// archive looks through an archive; false if it could not be read to its end.
func (k *searcher) archive(path string, f io.ReaderAt, size int64, n *naming, depth int) bool {
	left := int64(mostPacked)
	entry := func(name string, r io.Reader) bool {
		k.place(name, n)
		text, err := io.ReadAll(io.LimitReader(r, min(left, mostLooked)+1))
		if left -= int64(len(text)); err != nil || left < 0 || len(text) > mostLooked {
			return false
		}
		if isArchive(name) {
			return depth < 2 && k.archive(name, bytes.NewReader(text), int64(len(text)), n, depth+1)
		}
		k.text(name, text, n)
		return true
	}
	if strings.HasSuffix(strings.ToLower(path), ".zip") {
		z, err := zip.NewReader(f, size)
		if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
			return false
		}
		whole := true
		for _, e := range z.File {
			in, err := e.Open()
			if err != nil {
				whole = false
				continue
			}
			whole = entry(strings.ReplaceAll(e.Name, `\`, "/"), in) && whole
			in.Close()
		}
		return whole
	}
	var in io.Reader = io.NewSectionReader(f, 0, size)
	if !strings.HasSuffix(strings.ToLower(path), ".tar") {
		z, err := gzip.NewReader(in)
		if err != nil {
			return false
		}
		in = z
	}
	files, whole := tar.NewReader(in), true
	for {
		h, err := files.Next()
		if err == io.EOF {
			return whole
		}
		if err != nil {
			return false
		}
		if h.Typeflag == tar.TypeReg {
			whole = entry(h.Name, files) && whole
		}
	}
}

// Forget removes what the program made for a class, and the sheets of the class, but for the
// paths in keep and what lies in them. The class list and the key go last, since the others are
// known by them: a call that was killed is made again. It returns what was removed; with an
// error that is what was removed before it.
func Forget(traces []Trace, keep []string) (removed, kept []Trace, err error) {
	remove, kept := Sort(traces, keep)
	for _, t := range remove {
		if t.Kind != hourKind {
			continue
		}
		release, err := filelock.ClaimAt(filepath.Join(t.Path, "lock"), t.Path)
		if err != nil {
			return nil, kept, fmt.Errorf("gravlab teach is at work in %s; nothing was removed: end it first, then call again", t.Path)
		}
		release()
	}
	for _, t := range remove {
		if err := os.RemoveAll(t.Path); err != nil {
			return removed, kept, fmt.Errorf("removing %s: %w; call again, and the rest goes", t.Path, err)
		}
		removed = append(removed, t)
		// A folder that has become empty goes with its last file.
		for dir := filepath.Dir(t.Path); t.root != "" && inside(dir, []string{t.root}) && os.Remove(dir) == nil; dir = filepath.Dir(dir) {
		}
	}
	return removed, kept, nil
}

// Sort is what Forget would remove, in its order, and what it would keep.
func Sort(traces []Trace, keep []string) (remove, kept []Trace) {
	for _, t := range traces {
		if !t.Ours || inside(t.Path, keep) || t.Files > 0 && holds(t.Path, keep) {
			kept = append(kept, t)
		} else {
			remove = append(remove, t)
		}
	}
	slices.SortStableFunc(remove, func(a, b Trace) int { return cmp.Compare(a.order, b.order) })
	return remove, kept
}

// inside reports whether a path is one of those, or lies in one.
func inside(path string, those []string) bool {
	return slices.ContainsFunc(those, func(dir string) bool {
		a, err := filepath.Abs(path)
		b, err2 := filepath.Abs(dir)
		rel, err3 := filepath.Rel(b, a)
		return err == nil && err2 == nil && err3 == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
	})
}

// holds reports whether one of those paths lies in a folder.
func holds(dir string, those []string) bool {
	return slices.ContainsFunc(those, func(path string) bool { return inside(path, []string{dir}) })
}
