package marking

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
)

const (
	mostRecording  = 5_000_000 // bytes of a recording beside a notebook
	mostRecordings = 20        // files beside a notebook
	mostArchive    = 4 << 30   // bytes of an archive that the lecturer names
	mostInner      = 50 << 20  // bytes of an archive that lies in a folder or in an archive
	mostEntries    = 50_000    // in an archive
	mostRatio      = 300       // bytes out of each byte of an archive; a notebook has 3 to 30
	mostRefused    = 20        // things in one box that are told one by one
)

// A returned file is a notebook that was handed in. Nothing but its name has been
// looked at.
type returned struct {
	place  string // where it lies: for the order of files, and for hints; never written
	box    string // the folders above it that are the lecturer's, see collection
	folder string // where its recordings are looked for
	when   string // its date in the archive of the whole class, see BookRow.Handed
	size   int64
	read   func() ([]byte, error)
}

// name is what the file is called.
func (r returned) name() string { return clip.Line(base(r.place), 80) }

// A refusal is something handed in that cannot be looked at.
type refusal struct {
	place, box string
	why        string
	other      bool // it is of a kind that is not marked; nothing is wrong with it
}

// A collection is what was handed in: notebooks and the recordings beside them,
// in folders and archives. Nothing is unpacked to the disk: parts are read into memory when
// they are needed, each up to its limit. What is not read is told with its reason, but for
// the leavings of systems (see hidden).
//
// The box of a file are the folders around it that a student could not name: those
// of the lecturer's disk, and those in an archive of the whole class, if one is named alone.
// What lies in an archive that was handed in lies in the box of that archive.
type collection struct {
	files      []returned
	recordings map[string][]returned // by folder
	notebooks  map[string]int        // in each folder
	refused    []refusal
	open       []io.Closer
	outer      tarSlot // the tar archive that was opened last, and the last one inside another
	inner      tarSlot
}

// collect looks for notebooks. skip is a folder to leave out.
func collect(paths []string, skip string) (*collection, error) {
	c := &collection{recordings: map[string][]returned{}, notebooks: map[string]int{}}
	for n, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			c.close()
			return nil, notOpened(p, err, "")
		}
		prefix := ""
		if len(paths) > 1 {
			prefix = fmt.Sprintf("%d/", n)
		}
		name, around := filepath.Base(p), filepath.Base(filepath.Dir(p))
		switch {
		case info.IsDir():
			err = c.walk(p, prefix, skip)
		case !info.Mode().IsRegular():
			err = wrong(p, 0, "is not an ordinary file; name a folder, an archive or a notebook")
		case isArchive(name):
			err = c.archive(p, where{prefix + name, around}, len(paths) == 1, mostArchive)
		case isNotebook(name):
			c.add(where{prefix + name, around}, "", info.Size(), func() ([]byte, error) { return readFile(p, notebook.HandedInLimit) })
		default:
			err = wrong(p, 0, "is not a folder, an archive (.zip, .tar, .tar.gz) or a notebook (.ipynb)")
		}
		if err != nil {
			c.close()
			return nil, err
		}
	}
	for folder, list := range c.recordings {
		if c.notebooks[folder] > 0 {
			continue
		}
		for _, r := range list {
			c.other(where{r.place, r.box}, "is a recording, and no notebook lies in its folder, so nothing reads it")
		}
	}
	byPlace := func(a, b returned) int { return strings.Compare(a.place, b.place) }
	slices.SortFunc(c.files, byPlace)
	for _, list := range c.recordings {
		slices.SortFunc(list, byPlace)
	}
	c.fewRefusals()
	return c, nil
}

// fewRefusals sorts the refusals and leaves so many of each box that one student
// cannot drown the others'.
func (c *collection) fewRefusals() {
	byPlace := func(a, b refusal) int { return strings.Compare(a.place+a.why, b.place+b.why) }
	slices.SortFunc(c.refused, byPlace)
	type kind struct {
		box   string
		other bool
	}
	listed, last := map[kind]int{}, map[kind]int{}
	var few []refusal
	for _, r := range c.refused {
		k := kind{r.box, r.other}
		if listed[k]++; listed[k] <= mostRefused {
			few, last[k] = append(few, r), len(few)
		}
	}
	for k, n := range listed {
		if n > mostRefused {
			few[last[k]].why += fmt.Sprintf(" (and %d more beside it that are not read)", n-mostRefused)
		}
	}
	c.refused = few
}

// below is a place as the lecturer knows it: of several things that were named,
// with the name in the place of the number that collect gives it.
func below(paths []string, place string) string {
	number, rest, _ := strings.Cut(place, "/")
	i, err := strconv.Atoi(number)
	if len(paths) < 2 || err != nil || i >= len(paths) {
		return place
	}
	name := filepath.Base(paths[i])
	if rest == name || strings.HasPrefix(rest, name+"!/") { // a file that was named itself
		return rest
	}
	return name + "/" + rest
}

func (c *collection) close() {
	for _, o := range c.open {
		o.Close()
	}
}

// isNotebook goes by the name, also where a browser or a mail program has added an
// ending of its own.
func isNotebook(name string) bool {
	name = strings.ToLower(name)
	return slices.ContainsFunc([]string{".ipynb", ".ipynb.txt", ".ipynb.json"}, func(end string) bool { return strings.HasSuffix(name, end) })
}
func isRecording(name string) bool { return strings.EqualFold(path.Ext(name), ".csv") }
func isTar(name string) bool {
	name = strings.ToLower(name)
	return slices.ContainsFunc([]string{".tar", ".tar.gz", ".tgz"}, func(end string) bool { return strings.HasSuffix(name, end) })
}
func isArchive(name string) bool { return strings.EqualFold(path.Ext(name), ".zip") || isTar(name) }

// hidden are the leavings of systems and editors.
func hidden(name string) bool {
	return strings.HasPrefix(name, ".") || name == "__MACOSX" || strings.EqualFold(name, "thumbs.db") || strings.EqualFold(name, "desktop.ini")
}

// hiddenWork reports whether a hidden file looks like somebody's work all the same.
func hiddenWork(name string) bool {
	return !strings.HasPrefix(name, "._") && (isNotebook(name) || isArchive(name))
}

// otherKind says why a file of a kind that is not marked is not read.
func otherKind(name string) string {
	if slices.Contains([]string{".rar", ".7z", ".gz", ".bz2", ".xz", ".zst"}, strings.ToLower(path.Ext(name))) {
		return "is an archive of a kind that is not read; hand in the notebook itself, or a .zip or .tar.gz"
	}
	if strings.HasPrefix(name, ".") {
		return "is a hidden file, which is not read; take the dot off its name"
	}
	return "is not a notebook (.ipynb) or a recording (.csv) by its name, so it is not read"
}

// A where says where a file lies: its place, and the box that it lies in.
type where struct{ place, box string }

func (c *collection) refuse(w where, format string, args ...any) {
	c.refused = append(c.refused, refusal{w.place, w.box, fmt.Sprintf(format, args...), false})
}

// other tells of a file that is not read since nothing would come of it.
func (c *collection) other(w where, why string) {
	if path.Base(strings.ReplaceAll(w.place, "!", "/")) == labserver.RecordingsList {
		return // it came with the sheet, and a student may well return the whole folder
	}
	c.refused = append(c.refused, refusal{w.place, w.box, why, true})
}

// add takes a notebook or a recording.
func (c *collection) add(w where, when string, size int64, read func() ([]byte, error)) {
	r := returned{place: w.place, box: w.box, folder: path.Dir(w.place), when: when, size: size, read: read}
	if isNotebook(w.place) {
		c.files = append(c.files, r)
		c.notebooks[r.folder]++
	} else {
		c.recordings[r.folder] = append(c.recordings[r.folder], r)
	}
}

func (c *collection) walk(root, prefix, skip string) error {
	around := "" // a folder with a name, which . and .. have not
	if abs, err := filepath.Abs(root); err == nil {
		around = filepath.Base(abs)
	}
	return filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		rel, relErr := filepath.Rel(root, p)
		if relErr != nil {
			return relErr
		}
		w := where{prefix + filepath.ToSlash(rel), path.Join(around, path.Dir(filepath.ToSlash(rel)))}
		if err != nil {
			c.refuse(w, "cannot be opened: %v", plain(err))
			return nil
		}
		name := d.Name()
		if p != root && hidden(name) {
			if d.IsDir() {
				return filepath.SkipDir
			}
			if hiddenWork(name) {
				c.other(w, otherKind(name))
			}
			return nil
		}
		switch {
		case d.IsDir():
			if p != root && sameFolder(p, skip) {
				return filepath.SkipDir
			}
		case d.Type()&fs.ModeSymlink != 0:
			c.refuse(w, "is a link, which is not followed; put the file itself there")
		case !d.Type().IsRegular():
			c.refuse(w, "is not an ordinary file")
		case isArchive(name):
			return c.archive(p, w, false, mostInner)
		case isNotebook(name) || isRecording(name):
			info, err := d.Info()
			if err != nil {
				c.refuse(w, "cannot be opened: %v", plain(err))
				return nil
			}
			most := int64(notebook.HandedInLimit)
			if isRecording(name) {
				most = mostRecording
			}
			c.add(w, "", info.Size(), func() ([]byte, error) { return readFile(p, most) })
		default:
			c.other(w, otherKind(name))
		}
		return nil
	})
}

func sameFolder(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil || b == "" {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

// readFile reads a file of at most that many bytes.
func readFile(p string, most int64) ([]byte, error) {
	// A link may have taken the file's place since it was found.
	before, err := os.Lstat(p)
	if err != nil {
		return nil, fmt.Errorf("cannot be opened: %w", plain(err))
	}
	f, err := openFile(p)
	if err != nil {
		return nil, fmt.Errorf("cannot be opened: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", plain(err))
	}
	if !os.SameFile(before, info) {
		return nil, errors.New("is a link, which is not followed")
	}
	return readMost(f, info.Size(), most)
}

func readMost(r io.Reader, size, most int64) ([]byte, error) {
	if size > most {
		return nil, fmt.Errorf("has %d bytes; more than %d MB are not read", size, most/1_000_000)
	}
	text, err := io.ReadAll(io.LimitReader(r, most+1))
	if err == nil && int64(len(text)) > most {
		err = fmt.Errorf("has more than the %d MB that are read", most/1_000_000)
	}
	if failed := (*fs.PathError)(nil); errors.As(err, &failed) {
		err = fmt.Errorf("cannot be read: %w", failed.Err)
	}
	return text, err
}

// A beside holds the recordings beside a notebook. It is an fs.FS.
type beside map[string]returned

// beside returns the recordings that a notebook's program may ask for: those in
// its folder, if it is the only notebook there. In a folder with the files of many
// students nobody gets anybody else's.
func (c *collection) beside(r returned) (b beside, remark string) {
	list := c.recordings[r.folder]
	switch {
	case len(list) == 0:
		return nil, ""
	case c.notebooks[r.folder] > 1:
		return nil, "lies in one folder with other notebooks, so that the recordings there are given to none of them; give each student a folder"
	case len(list) > mostRecordings:
		return nil, fmt.Sprintf("has %d recordings beside it; more than %d are not looked at", len(list), mostRecordings)
	}
	b = beside{}
	for _, f := range list {
		b[path.Base(f.place)] = f
	}
	return b, ""
}

// Open reads a recording whole.
func (b beside) Open(name string) (fs.File, error) {
	f, ok := b[name]
	if !ok {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	if f.size > mostRecording { // its size alone is asked for
		return &memoryFile{Reader: bytes.NewReader(nil), name: name, size: f.size}, nil
	}
	text, err := f.read()
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return &memoryFile{Reader: bytes.NewReader(text), name: name, size: int64(len(text))}, nil
}

// memoryFile is a file in memory, and its own fs.FileInfo.
type memoryFile struct {
	*bytes.Reader
	name string
	size int64
}

func (f *memoryFile) Stat() (fs.FileInfo, error) { return f, nil }
func (f *memoryFile) Close() error               { return nil }
func (f *memoryFile) Name() string               { return f.name }
func (f *memoryFile) Size() int64                { return f.size }
func (f *memoryFile) Mode() fs.FileMode          { return 0o444 }
func (f *memoryFile) ModTime() time.Time         { return time.Time{} }
func (f *memoryFile) IsDir() bool                { return false }
func (f *memoryFile) Sys() any                   { return nil }

// printPrefix stands before the digits of a fingerprint, so that no spreadsheet
// takes them for a number.
const printPrefix = "sha256:"

// fingerprint is the SHA-256 of a notebook's bytes, the first 12 digits of which name
// it in the books.
func fingerprint(text []byte) string {
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// key names what a run depends on: the notebook, the recordings beside it, and the processor,
// since routines that run outside of the confined program have its last digits.
func (b beside) key(print string) string {
	h := sha256.New()
	fmt.Fprintf(h, "run %d %s\n%s\n", runFormat, runtime.GOARCH, print)
	names := make([]string, 0, len(b))
	for name := range b {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		text, err := b[name].read()
		fmt.Fprintf(h, "%q %s %v\n", name, fingerprint(text), err != nil)
	}
	return hex.EncodeToString(h.Sum(nil))[:32]
}
