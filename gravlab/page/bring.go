package page

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	own "gravity.example/gravlab/ask"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/notebook"
)

// mostBeside is how many recordings may stand beside a working copy.
const mostBeside = 40

// tableName is what a recording may be called: nothing that another system understands otherwise.
var tableName = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,59}\.csv$`)

// bring takes a file that the reader has worked on elsewhere: the notebook of this very sheet,
// which replaces the working copy, or a recording, which is put beside it. Nothing of it is
// believed, and what it replaces is put aside.
func (s *Server) bring(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct{ Tab, Name, Text string }
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	if err := b.load(); err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	status, problem := http.StatusBadRequest, ""
	aside := ""
	var err error
	switch {
	case len(b.running) > 0:
		status, problem = http.StatusConflict, "a box of this lab runs; wait for it or stop it, then bring the file"
	case filepath.Ext(in.Name) == ".csv":
		aside, problem, err = b.bringTable(in.Name, in.Text)
	default:
		aside, problem, err = b.bringNotebook(in.Text)
	}
	switch {
	case err != nil:
		b.notSaved(w, err)
	case problem != "":
		door.Refuse(w, status, problem)
	default:
		door.Reply(w, map[string]string{"aside": b.told(aside)})
	}
}

// bringNotebook replaces the working copy by a notebook of the same sheet.
func (b *document) bringNotebook(text string) (aside, problem string, err error) {
	if !b.hasSheet {
		return "", "this notebook has no sheet, so that nothing tells whether another file belongs to it", nil
	}
	nb, err := notebook.Read("this file", []byte(text), notebook.Options{MaxBytes: door.MaxBody})
	if err != nil {
		return "", err.Error(), nil
	}
	sheet, ok, _, fault := sheetOf(nb)
	switch {
	case fault != "":
		return "", "this file cannot be used: " + fault, nil
	case !ok:
		return "", "this file names no sheet; bring the notebook of this lab, as you saved it from this page or as it was handed out to you", nil
	case sheet.Lab.ID != b.sheet.Lab.ID:
		return "", fmt.Sprintf("this file is lab %s (%s); open that lab to bring it", sheet.Lab.Number(), sheet.Lab.Title), nil
	case sheet.Code != b.sheet.Code || sheet.Sealed != b.sheet.Sealed:
		return "", fmt.Sprintf("this file is another sheet of this lab: its numbers are those of %s, and yours are those of %s", sheetName(string(sheet.Code)), sheetName(string(b.sheet.Code))), nil
	}
	if stampOf(b.copy) != (stamp{}) {
		if aside, err = b.putAside("before"); err != nil {
			return "", "", err
		}
	}
	b.dropAhead()
	b.nb, b.stamp = nb, stamp{}
	b.readSheet()
	if _, err := b.write(); err != nil {
		b.nb = nil // the next request reads what there is
		if aside != "" {
			err = errors.Join(err, os.Rename(aside, b.copy))
		}
		return "", "", err
	}
	return aside, "", nil
}

func sheetName(code string) string {
	if code == "" {
		return "the default sheet"
	}
	return "sheet " + code
}

// bringTable puts a recording beside the working copy.
func (b *document) bringTable(name, text string) (aside, problem string, err error) {
	if !tableName.MatchString(name) {
		return "", fmt.Sprintf("a recording needs a name of letters, digits, - and _ that ends with .csv, and this one is called “%.80s”", name), nil
	}
	if _, err := own.ReadTable(name, text); err != nil {
		return "", fmt.Sprintf("%s cannot be used: %v", name, err), nil
	}
	if b.hasSheet {
		for _, r := range b.sheet.Recordings {
			if strings.EqualFold(r.ID+".csv", name) {
				return "", fmt.Sprintf("%s is the name of a recording of this sheet; give yours another", name), nil
			}
		}
	}
	folder := filepath.Dir(b.copy)
	if there := b.beside(); len(there) >= mostBeside {
		return "", fmt.Sprintf("%d recordings stand beside this notebook already; more are not kept", len(there)), nil
	}
	if _, err := b.write(); err != nil { // it stands beside a working copy
		return "", "", err
	}
	path := filepath.Join(folder, name)
	if _, err := os.Lstat(path); err == nil {
		to := folder
		if b.aside != "" {
			if err := os.MkdirAll(b.aside, 0o700); err != nil {
				return "", "", err
			}
			to = b.aside
		}
		aside = atomicfile.FreeName(func(n int) string {
			return filepath.Join(to, fmt.Sprintf("%s.before-%d.csv", strings.TrimSuffix(name, ".csv"), n))
		})
		if err := os.Rename(path, aside); err != nil {
			return "", "", err
		}
	} else if !errors.Is(err, fs.ErrNotExist) {
		return "", "", err
	}
	return aside, "", atomicfile.WriteFile(path, []byte(text), 0o600)
}

// recording gives back a recording that stands beside the working copy.
func (s *Server) recording(w http.ResponseWriter, r *http.Request, b *document) {
	name := r.PathValue("file")
	if !tableName.MatchString(name) {
		door.Refuse(w, http.StatusNotFound, "there is no such recording")
		return
	}
	text, err := fs.ReadFile(folders{filepath.Dir(b.copy)}, name)
	if err != nil {
		door.Refuse(w, http.StatusNotFound, "there is no such recording")
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Write(text)
}
