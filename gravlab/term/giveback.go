package term

import (
	"cmp"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"gravity.example/gravlab/marking"
)

// A GiveBack is the replies of a lab, ready to be given back.
type GiveBack struct {
	Book  marking.Book
	Forms []string            // marking.WholeReply and so on
	Large map[string]bool     // ids of those who get large print as well
	Pages string              // folder of a term, whose page of each student goes along; may be empty
	Each  bool                // one archive for each student, in a folder, instead of one for all
	Out   string              // the archive, or the folder for them
	names map[string][]string // folders as they came, by their names in small letters
}

// Write writes the archives. The folder of a student has the name that it came with; one that
// did not come in a folder of its own has the id. The members of a group find their replies in
// the folder of the group; in an archive of their own each member has a copy. The same replies
// give the same bytes. none is how many students have no reply, since nothing of theirs came.
func (g GiveBack) Write() (given, none int, err error) {
	// Two students whose folders have one name are told apart by their ids.
	g.names = map[string][]string{}
	for _, r := range g.Book.Rows {
		key := strings.ToLower(folderName(r))
		g.names[key] = append(g.names[key], r.ID)
	}
	var all []file
	for _, r := range g.Book.Rows {
		name := folderName(r)
		if len(g.names[strings.ToLower(name)]) > 1 {
			name = r.ID
		}
		files, err := g.files(r)
		if err != nil {
			return given, none, err
		}
		if len(files) == 0 {
			none++
			continue
		}
		given++
		owners := []string{name}
		if g.Each && len(r.Members) > 0 {
			owners = r.Members
		}
		for _, owner := range owners {
			var own []file
			for _, f := range files {
				own = append(own, file{owner + "/" + f.name, f.text})
			}
			if !g.Each {
				all = append(all, own...)
				continue
			}
			if err := os.MkdirAll(g.Out, 0o700); err != nil {
				return given, none, err
			}
			if err := writeZip(filepath.Join(g.Out, owner+".zip"), own); err != nil {
				return given, none, err
			}
		}
	}
	if given == 0 {
		return 0, none, wrong(g.Book.Dir, 0, "has no replies: nothing has been handed in yet")
	}
	if g.Each {
		return given, none, nil
	}
	return given, none, writeZip(g.Out, all)
}

// folderName is the name of a student's folder.
func folderName(r marking.BookRow) string { return cmp.Or(r.Folder, r.ID) }

// files are what a student gets.
func (g GiveBack) files(r marking.BookRow) ([]file, error) {
	forms := g.Forms
	if g.Large[r.ID] {
		forms = append(forms[:len(forms):len(forms)], marking.LargePrint)
	}
	lab := number(g.Book.Lab)
	var out []file
	for _, form := range forms {
		name := "reply-" + lab
		if form != marking.WholeReply {
			name += "-" + form
		}
		text, err := os.ReadFile(filepath.Join(g.Book.Dir, "replies", form, r.ID+".html"))
		if errors.Is(err, fs.ErrNotExist) {
			if r.State == marking.Marked {
				return nil, wrong(g.Book.Dir, 0, "has lost a reply to %s; mark again, which runs nothing twice", r.ID)
			}
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, file{name + ".html", text})
	}
	if len(out) == 0 || g.Pages == "" {
		return out, nil
	}
	for _, id := range append([]string{r.ID}, r.Members...) {
		text, err := os.ReadFile(filepath.Join(g.Pages, "pages", id+".html"))
		if errors.Is(err, fs.ErrNotExist) {
			continue // a group has no page of its own
		}
		if err != nil {
			return nil, err
		}
		out = append(out, file{"term-" + id + ".html", text})
	}
	return out, nil
}
