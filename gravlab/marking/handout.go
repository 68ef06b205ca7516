package marking

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/notebook"
)

// A Handout is one lab for one class.
type Handout struct {
	Class    Class
	Lab      bank.Lab
	Notebook *notebook.Notebook // the lab's, as it stands in the repository; not changed
	Key      []byte             // of the class
	Out      string             // the folder to write to, which is given out
	List     string             // the lecturer's list of codes; empty: ListBeside(Out)
	Assessed bool               // cells say what was understood, and no more
	Answers  bool               // worked copies, for the lecturer
	// Progress is told how many students are done; may be nil.
	Progress func(Progress)
}

// ListBeside is where the lecturer's list of codes of a handout lies, if nobody
// says otherwise: beside the folder that is given out, not in it.
func ListBeside(out string) string {
	out = filepath.Clean(out)
	if name := filepath.Base(out); name == "." || name == ".." {
		if abs, err := filepath.Abs(out); err == nil {
			out = abs
		}
	}
	return out + "-codes.csv"
}

// Write writes a folder for each student, with the notebook and the recordings,
// and the lecturer's list, which its owner alone may read. The same handout gives the same
// bytes.
//
// A file that is there with other bytes is left alone, since somebody may have
// worked in it; its name, relative to Out, is in kept. A folder whose list has
// other codes is refused: the sheets in it are those of the list.
func (h Handout) Write(ctx context.Context) (kept []string, err error) {
	codes, _, err := h.Class.codes(h.Key, h.Lab.ID)
	if err != nil {
		return nil, err
	}
	if h.List == "" {
		h.List = ListBeside(h.Out)
	}
	if err := h.sameCodes(codes); err != nil {
		return nil, err
	}
	// Every sheet carries its code, so that the folder is private until it is given out.
	if err := os.MkdirAll(h.Out, 0o700); err != nil {
		return nil, err
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var mu sync.Mutex
	keptOf := make([][]string, len(codes))
	next, done := 0, 0
	var all sync.WaitGroup
	for range runtime.NumCPU() {
		all.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				mu.Unlock()
				if i >= len(codes) || ctx.Err() != nil {
					return
				}
				left, err := h.student(h.Class.Students[i], codes[i])
				if err != nil {
					stop(fmt.Errorf("student %s: %w", h.Class.Students[i].ID, err))
					return
				}
				mu.Lock()
				keptOf[i] = left
				done++
				if h.Progress != nil {
					h.Progress(Progress{Done: done, Of: len(codes)})
				}
				mu.Unlock()
			}
		})
	}
	all.Wait()
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	for _, k := range keptOf {
		kept = append(kept, k...)
	}
	header := append([]string{"id", "name", "code"}, h.Class.Other...)
	err = h.Class.Dialect.WriteTable(h.List, header, nil, func(write func(...string) error) error {
		for i, s := range h.Class.Students {
			if err := write(append([]string{s.ID, s.Name, string(codes[i])}, s.Other...)...); err != nil {
				return err
			}
		}
		return nil
	})
	return kept, err
}

// sameCodes refuses a list that gives a student another code, and a file that is
// no such list.
func (h Handout) sameCodes(codes []bank.Code) error {
	path := h.List
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if class, classErr := os.Stat(h.Class.file); err == nil && classErr == nil && os.SameFile(info, class) {
		return wrong(path, 0, "is the class list, and the list of codes would be written over it; name another file with --list")
	}
	list, err := readTable(path)
	if err != nil {
		return err
	}
	columns, err := list.columns("id", "code")
	if err != nil {
		return fmt.Errorf("%w: this is no list of codes, so it is not written over; name another file with --list", err)
	}
	for k, row := range list.rows {
		id, code := row[columns[0]], row[columns[1]]
		if i := h.Class.index(id); i >= 0 && code != string(codes[i]) {
			return wrong(path, list.lines[k], "gives %s the sheet %s, and with this class key lab %s gives %s: the folder was handed out with another key or is of another lab; use that key, or hand out into another folder", id, code, h.Lab.Number(), codes[i])
		}
	}
	return nil
}

// student writes one student's folder.
func (h Handout) student(s Student, code bank.Code) (kept []string, err error) {
	paper := h.Lab.Sheet(code)
	nb := h.Notebook.Clone()
	if _, err := paper.Fill(nb, h.Answers); err != nil {
		return nil, err
	}
	if h.Assessed {
		declareAssessed(nb)
	}
	text, err := nb.Bytes()
	if err != nil {
		return nil, err
	}
	files := []file{{h.Lab.ID + ".ipynb", text}}
	for _, r := range paper.Recordings {
		table, err := recordingTable(r)
		if err != nil {
			return nil, err
		}
		files = append(files, file{r.ID + ".csv", table})
	}
	dir := filepath.Join(h.Out, s.ID)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	for _, f := range files {
		path := filepath.Join(dir, f.name)
		switch old, err := os.ReadFile(path); {
		case err == nil && bytes.Equal(old, f.text):
		case err == nil:
			kept = append(kept, s.ID+"/"+f.name)
		case !errors.Is(err, fs.ErrNotExist):
			return nil, err
		default:
			if err := atomicfile.WriteFile(path, f.text, 0o644); err != nil {
				return nil, err
			}
		}
	}
	return kept, nil
}

type file struct {
	name string
	text []byte
}

// declareAssessed makes the sheet's declaration one of an assessed sheet.
func declareAssessed(nb *notebook.Notebook) {
	for _, c := range nb.Cells {
		if _, part, ok := c.Question(); ok && part == notebook.Sheet {
			c.Source = strings.Replace(c.Source, "ask.Sheet(", "ask.Assessed(", 1)
		}
	}
}

// recordingTable is a recording as a CSV file with the units in its header, as
// spreadsheets and ask.OwnRecording read it.
func recordingTable(r bank.Recording) ([]byte, error) {
	columns, err := r.Make()
	if err != nil {
		return nil, fmt.Errorf("recording %s: %w", r.ID, err)
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	row := make([]string, len(r.Columns))
	for i, c := range r.Columns {
		unit := c.Unit
		if unit == "" {
			unit = "1"
		}
		row[i] = fmt.Sprintf("%s (%s)", c.Name, unit)
	}
	w.Write(row)
	if len(columns) != len(row) {
		return nil, fmt.Errorf("recording %s has %d columns and names %d", r.ID, len(columns), len(row))
	}
	for k := range columns[0] {
		for i := range columns {
			row[i] = strconv.FormatFloat(columns[i][k], 'g', -1, 64)
		}
		w.Write(row)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// PlainNotebook makes a notebook for a lab that has none: the sheet's
// declaration, each question and its answer cell.
func PlainNotebook(lab bank.Lab) *notebook.Notebook {
	nb := notebook.New("gravlab", "Go (gravlab)", "go")
	add := func(kind notebook.Kind, id, source string) *notebook.Cell {
		c := notebook.NewCell(kind, id, source)
		nb.Cells = append(nb.Cells, c)
		return c
	}
	add(notebook.Markdown, "title", "# "+lab.Title)
	add(notebook.Code, "sheet", fmt.Sprintf("import (\n\t\"fmt\"\n\t\"math\"\n\n\t\"gravity.example/gravlab\"\n\t\"gravity.example/gravlab/ask\"\n\t\"gravity.example/gravlab/show\"\n)\n\nvar sheet = ask.Sheet(%q, \"\")", lab.ID)).SetQuestion(lab.Number(), notebook.Sheet)
	for _, q := range lab.Sheet("").Questions {
		add(notebook.Markdown, q.ID+"-text", "").SetQuestion(lab.FullID(q.ID), notebook.QuestionText)
		add(notebook.Code, q.ID+"-answer", "").SetQuestion(lab.FullID(q.ID), notebook.Answer)
	}
	add(notebook.Code, "done", "%%\nsheet.Done()")
	return nb
}
