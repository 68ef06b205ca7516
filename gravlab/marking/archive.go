package marking

import (
	"archive/tar"
	"archive/zip"
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"

	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/notebook"
)

// A member is one file of an archive, before it is read.
type member struct {
	name   string // with slashes
	mode   fs.FileMode
	size   uint64
	packed uint64 // 0: not known
	locked bool
	when   string // its date, see BookRow.Handed
}

// contents are the files of an archive.
type contents interface {
	members() []member
	read(i int, most int64) ([]byte, error)
}

// archive lists an archive on the disk. ours says that the folders in it are the
// lecturer's.
func (c *collection) archive(p string, w where, ours bool, most int64) error {
	f, err := openFile(p)
	if err != nil {
		c.refuse(w, "cannot be opened: %v", err)
		return nil
	}
	info, err := f.Stat()
	if err == nil && info.Size() > most {
		err = fmt.Errorf("has %d bytes; an archive in this place may have %d MB", info.Size(), most>>20)
	}
	var again func() (contents, error)
	switch {
	case err != nil:
	case isTar(p):
		limit := int64(mostTar)
		if most < limit {
			limit = most
		}
		again = c.outer.of(w.place, func() (contents, error) {
			return openTar(io.NewSectionReader(f, 0, info.Size()), info.Size(), limit)
		})
		_, err = again()
	default:
		var z contents
		if z, err = openZip(f, info.Size()); err == nil {
			again = func() (contents, error) { return z, nil }
		}
	}
	if err != nil {
		f.Close()
		c.refuse(w, "is not used: %v", plain(err))
		return nil
	}
	c.open = append(c.open, f)
	return c.list(w, "", ours, false, again)
}

// list takes the files of an archive; inner says that it lies in another, whose date of it
// is when. Dates count in the lecturer's archive alone: those in an archive that was handed
// in are a student's.
func (c *collection) list(archive where, when string, ours, inner bool, again func() (contents, error)) error {
	all, err := again()
	if err != nil {
		return err
	}
	for i, m := range all.members() {
		// Old archivers of Windows wrote backslashes between folders.
		name := strings.TrimPrefix(strings.ReplaceAll(m.name, `\`, "/"), "./")
		w := where{archive.place + "!/" + clip.Line(name, 200), archive.box}
		if ours && goodName(name) {
			w.box = path.Join(archive.box, path.Dir(name))
		}
		date := when
		if ours {
			date = m.when
		}
		folder, last := path.Split(name)
		wanted := isNotebook(last) || isRecording(last) || isArchive(last)
		switch good := goodName(name); {
		case m.mode.IsDir() || last == "":
			continue
		case good && slices.ContainsFunc(strings.Split(folder, "/"), hidden):
			continue
		case good && hidden(last):
			if hiddenWork(last) {
				c.other(w, otherKind(last))
			}
			continue
		case !wanted:
			c.other(w, otherKind(last))
			continue
		}
		most := int64(notebook.HandedInLimit)
		if isRecording(last) {
			most = mostRecording
		}
		switch {
		case !goodName(name):
			c.refuse(w, "has a name that leads out of the archive, so it is not read")
			continue
		case m.mode&fs.ModeSymlink != 0:
			c.refuse(w, "is a link, which is not followed")
			continue
		case !m.mode.IsRegular():
			c.refuse(w, "is not an ordinary file")
			continue
		case m.locked:
			c.refuse(w, "is locked with a password")
			continue
		case isArchive(last) && m.size > mostInner:
			c.refuse(w, "has %d bytes; an archive inside an archive may have %d MB", m.size, mostInner>>20)
			continue
		case m.packed > 0 && m.size > 1_000_000 && m.size/mostRatio > m.packed:
			c.refuse(w, "says that it grows more than %d-fold when it is unpacked; it is not read", mostRatio)
			continue
		}
		read := func(most int64) ([]byte, error) {
			all, err := again()
			if err != nil {
				return nil, err
			}
			return all.read(i, most)
		}
		if !isArchive(last) {
			c.add(w, date, int64(min(m.size, 1<<62)), func() ([]byte, error) { return read(most) })
			continue
		}
		if inner {
			c.refuse(w, "is an archive in an archive in an archive; it is not opened")
			continue
		}
		// An archive that lies inside another is not kept in memory: it is read again.
		open := func() (contents, error) {
			text, err := read(mostInner)
			if err != nil {
				return nil, err
			}
			if isTar(last) {
				return openTar(bytes.NewReader(text), int64(len(text)), mostInner)
			}
			return openZip(bytes.NewReader(text), int64(len(text)))
		}
		if isTar(last) {
			open = c.inner.of(w.place, open)
		}
		if err := c.list(w, date, false, true, open); err != nil {
			c.refuse(w, "is not used: %v", plain(err))
		}
	}
	return nil
}

var drive = regexp.MustCompile(`^[A-Za-z]:`)

// goodName reports whether a name stays inside its archive on every system.
func goodName(name string) bool { return fs.ValidPath(name) && !drive.MatchString(name) }

// zipped is a zip archive.
type zipped struct{ z *zip.Reader }

// openZip reads the directory of a zip archive. Names that lead out of it are seen
// to one by one.
func openZip(r io.ReaderAt, size int64) (contents, error) {
	if n, err := countEntries(io.NewSectionReader(r, 0, size)); err != nil || n > mostEntries {
		return nil, fmt.Errorf("the archive lists more than %d files, or cannot be read", mostEntries)
	}
	z, err := zip.NewReader(r, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, errors.New("this is not a zip archive that can be read")
	}
	return zipped{z}, nil
}

func (a zipped) members() []member {
	var all []member
	for _, e := range a.z.File {
		all = append(all, member{e.Name, e.Mode(), e.UncompressedSize64, max(e.CompressedSize64, 1), e.Flags&1 != 0, zipDate(e)})
	}
	return all
}

// zipDate is the date of a file in a zip archive. The old form of it has no zone; a zone is
// known where an extra field has the date too: extended timestamp, NTFS, Unix (APPNOTE.TXT
// 4.5 and the fields registered there, which archive/zip reads).
func zipDate(e *zip.File) string {
	if e.Modified.IsZero() || e.Modified.Year() < 1981 {
		return "" // the form begins in 1980; the first day of it stands for none
	}
	for extra := e.Extra; len(extra) >= 4; {
		id, size := binary.LittleEndian.Uint16(extra), int(binary.LittleEndian.Uint16(extra[2:]))
		if id == 0x5455 || id == 0x000a || id == 0x000d || id == 0x5855 {
			return e.Modified.UTC().Format(time.RFC3339)
		}
		extra = extra[4+min(size, len(extra)-4):]
	}
	return e.Modified.Format(noZone)
}

// noZone is RFC 3339 without its zone.
const noZone = "2006-01-02T15:04:05"

func (a zipped) read(i int, most int64) ([]byte, error) {
	if i >= len(a.z.File) {
		return nil, errors.New("has changed while it was read")
	}
	f, err := a.z.File[i].Open()
	if err != nil {
		return nil, errors.New("cannot be unpacked")
	}
	defer f.Close()
	text, err := readMost(f, int64(min(a.z.File[i].UncompressedSize64, 1<<62)), most)
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

// mostTar is how many bytes a tar archive may unpack to: it has no directory, so
// it is read from its beginning, and what is wanted of it is kept in memory.
const mostTar = 256 << 20

// tarred is a tar archive in memory: of the files that nobody wants, the names.
type tarred struct {
	list  []member
	texts [][]byte
}

// openTar reads a tar archive, packed with gzip or not.
func openTar(r io.Reader, size, most int64) (contents, error) {
	damaged := errors.New("this is not a tar archive that can be read to its end")
	in := bufio.NewReader(r)
	plain := io.Reader(in)
	if mark, err := in.Peek(2); err == nil && mark[0] == 0x1f && mark[1] == 0x8b {
		if plain, err = gzip.NewReader(in); err != nil {
			return nil, damaged
		}
	}
	// A byte more than is allowed says that there is more.
	counted := &io.LimitedReader{R: plain, N: min(most, max(1_000_000, size*mostRatio)) + 1}
	files := tar.NewReader(counted)
	var all tarred
	kept := int64(0)
	for {
		h, err := files.Next()
		if err == io.EOF {
			return &all, nil
		}
		var text []byte
		m := member{}
		if err == nil {
			m = member{name: h.Name, mode: h.FileInfo().Mode(), size: uint64(max(h.Size, 0))}
			if h.ModTime.Unix() > 0 {
				m.when = h.ModTime.UTC().Format(time.RFC3339)
			}
			if h.Typeflag == tar.TypeXGlobalHeader {
				continue
			}
			if h.Typeflag == tar.TypeLink {
				m.mode |= fs.ModeSymlink // it stands for another file just as well
			}
			if last := path.Base(strings.ReplaceAll(h.Name, `\`, "/")); h.Typeflag == tar.TypeReg && (isNotebook(last) || isRecording(last) || isArchive(last)) {
				text, err = io.ReadAll(io.LimitReader(files, most-kept+1)) // holes in it are not counted below
				kept += int64(len(text))
			}
		}
		switch {
		case counted.N <= 0 || kept > most:
			return nil, fmt.Errorf("it unpacks to more than %d MB, or grows more than %d-fold; hand it over as .zip or as a folder", most>>20, mostRatio)
		case err != nil:
			return nil, damaged
		case len(all.list) >= mostEntries:
			return nil, fmt.Errorf("the archive holds more than %d files", mostEntries)
		}
		all.list, all.texts = append(all.list, m), append(all.texts, text)
	}
}

func (a *tarred) members() []member { return a.list }

func (a *tarred) read(i int, most int64) ([]byte, error) {
	if i >= len(a.texts) {
		return nil, errors.New("has changed while it was read")
	}
	return readMost(bytes.NewReader(a.texts[i]), int64(len(a.texts[i])), most)
}

// A tarSlot keeps the tar archive that was opened last: its files are read one after
// the other.
type tarSlot struct {
	mu    sync.Mutex
	place string
	all   contents
}

// of opens an archive unless it is the one that is kept.
func (s *tarSlot) of(place string, open func() (contents, error)) func() (contents, error) {
	return func() (contents, error) {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.all != nil && s.place == place {
			return s.all, nil
		}
		s.all = nil // not two at once in memory
		all, err := open()
		if err != nil {
			return nil, err
		}
		s.place, s.all = place, all
		return all, nil
	}
}
