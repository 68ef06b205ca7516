package marking

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/labserver"
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
	Record   string             // what the lecturer keeps to mark by; empty: none is kept
	Word     string             // tells the sheets of a resit from the first ones; may be empty
	Version  string             // of the program, for the record
	Bank     string             // folder of the own bank, for the record
	Assessed bool               // sealed sheets: cells say what was understood, and no more
	Answers  bool               // worked copies, for the lecturer
	// Progress is told how many students are done; may be nil.
	Progress func(Progress)
}

// ListBeside is where the lecturer's list of codes of a handout lies by
// default: beside the folder that is given out, not in it.
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
// A file that is there with other bytes is left alone, since someone may have
// worked in it; its name, relative to Out, is in kept. A folder whose list has
// other codes is refused: the sheets in it are those of the list.
func (h Handout) Write(ctx context.Context) (kept []string, err error) {
	named, err := h.Class.sheets(h.Key, h.Lab.ID, h.Word)
	if err != nil {
		return nil, err
	}
	codes := named.codes(h.Assessed)
	if h.List == "" {
		h.List = ListBeside(h.Out)
	}
	if err := h.sameCodes(codes); err != nil {
		return nil, err
	}
	sheetsKept, err := h.check(codes)
	if err != nil {
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
	if err != nil {
		return kept, err
	}
	if h.Record != "" {
		err = sheetsKept.write(h.Record)
	}
	return kept, err
}

// check checks the sheets before any is written, and makes the record of the handout.
// Sheets that are on record already have to be what they were: those that students have
// are.
func (h Handout) check(codes []bank.Code) (keptHandout, error) {
	old, had, err := readKept(h.Record)
	if err != nil {
		return keptHandout{}, err
	}
	now := keptHandout{Format: keptFormat, Lab: h.Lab.ID, Word: h.Word, Sealed: h.Assessed, Version: h.Version, Bank: h.Bank, Sheets: map[string]keptSheet{}}
	if had {
		maps.Copy(now.Sheets, old.Sheets)
	}
	if now.Base, err = baseOf(h.Lab); err != nil {
		return now, err
	}
	if now.Code, err = h.codeGiven(codes); err != nil {
		return now, err
	}
	changed := &ChangedBank{Record: h.Record, Lab: h.Lab, Version: old.Version, Bank: old.Bank, Sheets: map[string][]string{}}
	for i, s := range h.Class.Students {
		sheet := sheetOf(h.Lab, h.Key, s.ID, h.Word, codes[i])
		if faults := sheet.Unfair(); len(faults) > 0 {
			return now, wrong("lab "+h.Lab.Number(), 0, "the sheet of the student %s cannot be handed out: %s. Nothing was written; with --word WORD all students get other numbers", s.ID, strings.Join(faults, "; "))
		}
		kept, err := keep(sheet)
		if err != nil {
			return now, fmt.Errorf("student %s: %w", s.ID, err)
		}
		if was, ok := old.Sheets[s.ID]; ok && was.Code == kept.Code {
			for _, q := range sheet.Questions {
				if print, ok := was.Questions[q.ID]; ok && print != kept.Questions[q.ID] {
					changed.Sheets[s.ID] = append(changed.Sheets[s.ID], q.ID)
				}
			}
		}
		now.Sheets[s.ID] = kept
	}
	if len(changed.Sheets) > 0 {
		return now, wrong(h.Record, 0, "the bank has changed since these sheets were handed out: %s. Hand out with the version that the first ones were made with, so that all are of one bank; or delete this file, and give all of them new sheets", strings.TrimPrefix(changed.questions(), " "))
	}
	return now, nil
}

// codeGiven are the fingerprints of the code of the notebook that all were given.
func (h Handout) codeGiven(codes []bank.Code) ([]uint64, error) {
	sheet := sheetOf(h.Lab, h.Key, h.Class.Students[0].ID, h.Word, codes[0])
	nb := h.Notebook.Clone()
	sheet.AddCells(nb)
	if _, err := sheet.Fill(nb, false); err != nil {
		return nil, err
	}
	var cells []string
	for _, c := range nb.Cells {
		if c.Kind == notebook.Code {
			cells = append(cells, c.Source)
		}
	}
	prints := printsOfCells(cells, false)
	maps.Copy(prints, printsOfCells(cells, true))
	return slices.Sorted(maps.Keys(prints)), nil
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
		return fmt.Errorf("%w: this is not a list of codes, so it is not overwritten; name another file with --list", err)
	}
	for k, row := range list.rows {
		id, code := row[columns[0]], row[columns[1]]
		if i := h.Class.index(id); i >= 0 && code != string(codes[i]) {
			return wrong(path, list.lines[k], "gives %s the sheet %s, and with this class key lab %s gives %s: the folder was handed out with another key, with another --word or without --assessed, or is of another lab; hand out as before, or into another folder", id, code, h.Lab.Number(), codes[i])
		}
	}
	return nil
}

// student writes one student's folder.
func (h Handout) student(s Student, code bank.Code) (kept []string, err error) {
	sheet := sheetOf(h.Lab, h.Key, s.ID, h.Word, code)
	nb := h.Notebook.Clone()
	sheet.AddCells(nb)
	if _, err := sheet.Fill(nb, h.Answers); err != nil {
		return nil, err
	}
	if h.Assessed {
		declareAssessed(nb)
	}
	// The fingerprints that travel are those of the sheet as the student's program knows
	// it: of a sealed one without its numbers.
	if err := h.Lab.Sheet(code).Stamp(nb); err != nil {
		return nil, err
	}
	text, err := nb.Bytes()
	if err != nil {
		return nil, err
	}
	files := []file{{h.Lab.ID + ".ipynb", text}}
	var names []string
	var tables [][]byte
	for _, r := range sheet.Recordings {
		table, err := r.Table()
		if err != nil {
			return nil, err
		}
		names, tables = append(names, r.ID+".csv"), append(tables, table)
		files = append(files, file{r.ID + ".csv", table})
	}
	if h.Assessed && len(names) > 0 {
		files = append(files, file{labserver.RecordingsList, labserver.ListRecordings(code, names, tables)})
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

// editedRecordings compares the files beside a sealed notebook with the recordings of its
// sheet. Those that are there and have other bytes are told; the sheet's own are what the
// notebook is run with.
func editedRecordings(s bank.Sheet, files beside) (edited []string, err error) {
	if !s.Code.Sealed() || files == nil {
		return nil, nil
	}
	for _, r := range s.Recordings {
		f, ok := files[r.ID+".csv"]
		if !ok {
			continue
		}
		table, err := r.Table()
		if err != nil {
			return nil, err
		}
		if text, err := f.read(); err != nil || !bytes.Equal(text, table) {
			edited = append(edited, r.ID)
		}
	}
	return edited, nil
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
