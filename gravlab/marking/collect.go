package marking

import (
	"archive/zip"
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
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/notebook"
)

const (
	mostRecording  = 5_000_000 // bytes of a recording beside a notebook
	mostRecordings = 20        // files beside a notebook
	mostArchive    = 4 << 30   // bytes of an archive that the lecturer names
	mostInner      = 50 << 20  // bytes of an archive that lies in a folder or in an archive
	mostEntries    = 50_000    // in an archive
	mostRatio      = 300       // bytes out of each byte of an archive; a notebook has 3 to 30
)

// A returned file is a notebook that was handed in. Nothing but its name has been
// looked at.
type returned struct {
	place  string // where it lies: for the order of files, and for hints; never written
	folder string // where its recordings are looked for
	size   int64
	read   func() ([]byte, error)
}

// name is what the file is called.
func (r returned) name() string { return clip(base(r.place), 80) }

// words are the parts of the place that may name a student.
func (r returned) words() []string {
	var all []string
	for _, part := range strings.FieldsFunc(r.place, func(c rune) bool { return strings.ContainsRune(`/\!`, c) }) {
		part = strings.TrimSuffix(part, path.Ext(part))
		all = append(all, part)
		for _, word := range strings.FieldsFunc(part, func(c rune) bool { return strings.ContainsRune("_ -", c) }) {
			if len(word) >= 4 { // 90 in 90-swing.ipynb is no student
				all = append(all, word)
			}
		}
	}
	return all
}

// A refusal is something handed in that cannot be looked at.
type refusal struct{ place, why string }

// A collection is what was handed in: notebooks and the recordings beside them,
// in folders and zip archives. Nothing is unpacked: parts are read into memory when they
// are needed, each up to its limit.
type collection struct {
	files      []returned
	recordings map[string][]returned // by folder
	notebooks  map[string]int        // in each folder
	refused    []refusal
	open       []io.Closer
}

// collect looks for notebooks. skip is a folder to leave out.
func collect(paths []string, skip string) (*collection, error) {
	c := &collection{recordings: map[string][]returned{}, notebooks: map[string]int{}}
	for n, p := range paths {
		info, err := os.Stat(p)
		if err != nil {
			c.close()
			return nil, wrong(p, 0, "cannot be opened: %v", plain(err))
		}
		prefix := ""
		if len(paths) > 1 {
			prefix = fmt.Sprintf("%d/", n)
		}
		switch {
		case info.IsDir():
			err = c.walk(p, prefix, skip)
		case isArchive(p):
			err = c.archive(p, prefix+filepath.Base(p), mostArchive)
		case isNotebook(p):
			c.add(prefix+filepath.Base(p), info.Size(), func() ([]byte, error) { return readFile(p, notebook.HandedInLimit) })
		default:
			err = wrong(p, 0, "is no folder, no zip archive and no notebook")
		}
		if err != nil {
			c.close()
			return nil, err
		}
	}
	byPlace := func(a, b returned) int { return strings.Compare(a.place, b.place) }
	slices.SortFunc(c.files, byPlace)
	for _, list := range c.recordings {
		slices.SortFunc(list, byPlace)
	}
	slices.SortFunc(c.refused, func(a, b refusal) int { return strings.Compare(a.place+a.why, b.place+b.why) })
	return c, nil
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

func isNotebook(name string) bool  { return strings.EqualFold(path.Ext(name), ".ipynb") }
func isRecording(name string) bool { return strings.EqualFold(path.Ext(name), ".csv") }
func isArchive(name string) bool   { return strings.EqualFold(path.Ext(name), ".zip") }

// hidden are the leavings of systems and editors.
func hidden(name string) bool { return strings.HasPrefix(name, ".") || name == "__MACOSX" }

func (c *collection) refuse(place, format string, args ...any) {
	c.refused = append(c.refused, refusal{place, fmt.Sprintf(format, args...)})
}

// add takes a file if it is a notebook or a recording.
func (c *collection) add(place string, size int64, read func() ([]byte, error)) {
	r := returned{place: place, folder: path.Dir(place), size: size, read: read}
	switch {
	case isNotebook(place):
		c.files = append(c.files, r)
		c.notebooks[r.folder]++
	case isRecording(place):
		c.recordings[r.folder] = append(c.recordings[r.folder], r)
	}
}

func (c *collection) walk(root, prefix, skip string) error {
	return filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
		rel, relErr := filepath.Rel(root, p)
		if relErr != nil {
			return relErr
		}
		place := prefix + filepath.ToSlash(rel)
		if err != nil {
			c.refuse(place, "cannot be opened: %v", plain(err))
			return nil
		}
		if p != root && hidden(d.Name()) {
			if d.IsDir() {
				return filepath.SkipDir
			}
			return nil
		}
		switch {
		case d.IsDir():
			if p != root && sameFolder(p, skip) {
				return filepath.SkipDir
			}
		case d.Type()&fs.ModeSymlink != 0:
			c.refuse(place, "is a link, which is not followed; put the file itself there")
		case !d.Type().IsRegular():
			if isNotebook(p) || isArchive(p) {
				c.refuse(place, "is no ordinary file")
			}
		case isArchive(p):
			return c.archive(p, place, mostInner)
		case isNotebook(p) || isRecording(p):
			info, err := d.Info()
			if err != nil {
				c.refuse(place, "cannot be opened: %v", plain(err))
				return nil
			}
			most := int64(notebook.HandedInLimit)
			if isRecording(p) {
				most = mostRecording
			}
			c.add(place, info.Size(), func() ([]byte, error) { return readFile(p, most) })
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
		return nil, plain(err)
	}
	f, err := os.Open(p)
	if err != nil {
		return nil, plain(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, plain(err)
	}
	if !info.Mode().IsRegular() || !os.SameFile(before, info) {
		return nil, errors.New("is no ordinary file")
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
	return text, err
}

// archive lists a zip archive on the disk.
func (c *collection) archive(p, place string, most int64) error {
	f, err := os.Open(p)
	if err != nil {
		c.refuse(place, "cannot be opened: %v", plain(err))
		return nil
	}
	info, err := f.Stat()
	if err == nil && info.Size() > most {
		err = fmt.Errorf("has %d bytes; an archive in this place may have %d MB", info.Size(), most>>20)
	}
	if err == nil {
		err = c.list(f, info.Size(), place, nil)
	}
	if err != nil {
		f.Close()
		c.refuse(place, "is not used: %v", plain(err))
		return nil
	}
	c.open = append(c.open, f)
	return nil
}

// list takes the files of an archive. An archive that lies inside another is not
// kept in memory: again reads it once more. For one on the disk it is nil.
func (c *collection) list(r io.ReaderAt, size int64, place string, again func() (*zip.Reader, error)) error {
	if n, err := countEntries(io.NewSectionReader(r, 0, size)); err != nil || n > mostEntries {
		return fmt.Errorf("the archive lists more than %d files, or cannot be read", mostEntries)
	}
	z, err := openArchive(r, size)
	if err != nil {
		return err
	}
	inner := again != nil
	if !inner {
		again = func() (*zip.Reader, error) { return z, nil }
	}
	for i, e := range z.File {
		inside := place + "!/" + clip(e.Name, 200)
		name := path.Base(e.Name)
		if strings.HasSuffix(e.Name, "/") || slices.ContainsFunc(strings.Split(e.Name, "/"), hidden) && goodName(e.Name) {
			continue
		}
		if !isNotebook(name) && !isRecording(name) && !isArchive(name) {
			continue
		}
		most := int64(notebook.HandedInLimit)
		if isRecording(name) {
			most = mostRecording
		}
		switch {
		case !goodName(e.Name):
			c.refuse(inside, "its name leads out of the archive; it is not read")
			continue
		case e.Mode()&fs.ModeSymlink != 0:
			c.refuse(inside, "is a link, which is not followed")
			continue
		case !e.Mode().IsRegular():
			c.refuse(inside, "is no ordinary file")
			continue
		case e.Flags&1 != 0:
			c.refuse(inside, "is locked with a password")
			continue
		case isArchive(name) && e.UncompressedSize64 > mostInner:
			c.refuse(inside, "has %d bytes; an archive inside an archive may have %d MB", e.UncompressedSize64, mostInner>>20)
			continue
		case e.UncompressedSize64 > 1_000_000 && e.UncompressedSize64/mostRatio > e.CompressedSize64:
			c.refuse(inside, "says that it grows more than %d-fold when it is unpacked; it is not read", mostRatio)
			continue
		}
		read := func(most int64) ([]byte, error) { return readEntry(again, i, most) }
		if !isArchive(name) {
			c.add(inside, int64(min(e.UncompressedSize64, 1<<62)), func() ([]byte, error) { return read(most) })
			continue
		}
		if inner {
			c.refuse(inside, "is an archive in an archive in an archive; it is not opened")
			continue
		}
		text, err := read(mostInner)
		if err == nil {
			err = c.list(bytes.NewReader(text), int64(len(text)), inside, func() (*zip.Reader, error) {
				text, err := read(mostInner)
				if err != nil {
					return nil, err
				}
				return openArchive(bytes.NewReader(text), int64(len(text)))
			})
		}
		if err != nil {
			c.refuse(inside, "is not used: %v", plain(err))
		}
	}
	return nil
}

// goodName says whether a name stays inside its archive on every system.
func goodName(name string) bool { return fs.ValidPath(name) && !strings.ContainsAny(name, `\:`) }

// openArchive reads the directory of an archive. Names that lead out of it are
// seen to one by one.
func openArchive(r io.ReaderAt, size int64) (*zip.Reader, error) {
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, errors.New("this is no zip archive that can be read")
	}
	return z, nil
}

// readEntry reads entry i of an archive.
func readEntry(open func() (*zip.Reader, error), i int, most int64) ([]byte, error) {
	z, err := open()
	if err != nil {
		return nil, err
	}
	if i >= len(z.File) {
		return nil, errors.New("has changed while it was read")
	}
	f, err := z.File[i].Open()
	if err != nil {
		return nil, errors.New("cannot be unpacked")
	}
	defer f.Close()
	text, err := readMost(f, int64(min(z.File[i].UncompressedSize64, 1<<62)), most)
	if errors.Is(err, zip.ErrChecksum) || errors.Is(err, zip.ErrFormat) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("is damaged: its size or its checksum does not fit")
	}
	return text, err
}

// countEntries counts the marks that begin an entry in the directory of a zip
// archive: archive/zip reads the directory whole, and a small hostile archive may list
// millions.
func countEntries(r io.Reader) (int, error) {
	const mark = "PK\x01\x02"
	buf := make([]byte, 256<<10)
	n, have := 0, 0
	for {
		k, err := r.Read(buf[have:])
		have += k
		n += bytes.Count(buf[:have], []byte(mark))
		if err == io.EOF {
			return n, nil
		}
		if err != nil || n > mostEntries {
			return n, err
		}
		// The mark may lie across the border of two pieces.
		tail := min(have, len(mark)-1)
		copy(buf, buf[have-tail:have])
		have = tail
	}
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

// key names what a run depends on: the notebook and the recordings beside it.
func (b beside) key(print string) string {
	h := sha256.New()
	fmt.Fprintf(h, "run %d\n%s\n", runFormat, print)
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
