package labserver

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"

	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/clip"
	"gravity.example/gravlab/notebook"
)

// RecordingsList is the file beside a sealed notebook that names its recordings with their
// SHA-256, as the program sha256sum reads and writes it. Its first line is "# sheet CODE".
const RecordingsList = "recordings.sha256"

// ListRecordings is the text of RecordingsList for the files of a sheet: a hash for each
// name, in the order of names.
func ListRecordings(code bank.Code, names []string, texts [][]byte) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "# sheet %s\n", code)
	for i, name := range names {
		fmt.Fprintf(&b, "%x  %s\n", sha256.Sum256(texts[i]), name)
	}
	return []byte(b.String())
}

// sealedRecording reads a recording of a sealed sheet from the file that was handed out
// with it: this program cannot make it. What is wrong is for the student.
func (s *Session) sealedRecording(sheet bank.Sheet, r bank.Recording) ([][]float64, error) {
	const again = "put it into the folder of the notebook again, as it was handed out"
	files := s.files()
	if files == nil {
		return nil, fmt.Errorf("%w; there are no files beside this notebook to read it from", bank.ErrSealed)
	}
	list, err := readBeside(files, RecordingsList)
	if err != nil {
		return nil, fmt.Errorf("a sealed sheet reads its recordings from files, and %w; %s", err, again)
	}
	name := r.ID + ".csv"
	want, other := "", ""
	for line := range strings.Lines(string(list)) {
		if of, ok := strings.CutPrefix(line, "# sheet "); ok {
			if of = strings.TrimSpace(of); of != string(sheet.Code) {
				other = of
			}
		}
		if hash, file, ok := strings.Cut(strings.TrimSpace(line), "  "); ok && file == name {
			want = hash
		}
	}
	if other != "" {
		return nil, fmt.Errorf("the recordings beside this notebook are those of the sheet %s, and this is %s; put the files of this sheet there, as they were handed out", clip.Line(other, 20), sheet.Code)
	}
	text, err := readBeside(files, name)
	if err != nil {
		return nil, fmt.Errorf("a sealed sheet reads its recordings from files, and %w; %s", err, again)
	}
	if sum := sha256.Sum256(text); want != hex.EncodeToString(sum[:]) {
		return nil, fmt.Errorf("%s is not as it was handed out with the sheet %s: it was changed, or comes from another sheet; %s", name, sheet.Code, again)
	}
	table, err := ask.ReadTable(name, string(text))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	var columns [][]float64
	names := table.Names()
	for i, c := range r.Columns {
		if i >= len(names) || names[i] != c.Name {
			return nil, fmt.Errorf("%s has the columns %s, and the lab of this program has others: it is of another version than the one that handed the sheet out", name, strings.Join(names, ", "))
		}
		columns = append(columns, table.Column(c.Name))
	}
	return columns, nil
}

// files are those beside the notebook; nil if there are none.
func (s *Session) files() fs.FS {
	if s.o.Files != nil {
		return s.o.Files
	}
	return s.bench.o.Files
}

// readBeside reads a file beside the notebook.
func readBeside(files fs.FS, name string) ([]byte, error) {
	if name != path.Base(name) || !fs.ValidPath(name) {
		return nil, fmt.Errorf("%q is not the name of a file beside the notebook", clip.Line(name, 60))
	}
	f, err := files.Open(name)
	if err != nil {
		return nil, fmt.Errorf("there is no %s beside the notebook", name)
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || !info.Mode().IsRegular() || info.Size() > maxFile {
		return nil, fmt.Errorf("%s beside the notebook is not a file of at most 5 MB", name)
	}
	text, err := io.ReadAll(io.LimitReader(f, maxFile))
	if err != nil {
		return nil, fmt.Errorf("%s beside the notebook cannot be read", name)
	}
	return text, nil
}

// differing lists the questions of a sheet that are others in this program's bank than
// where the notebook was handed out, as far as the notebook says so. Only one under the
// name that it was handed out with is looked at.
func differing(files fs.FS, sheet bank.Sheet) []string {
	if files == nil {
		return nil
	}
	text, err := readBeside(files, sheet.Lab.ID+".ipynb")
	if err != nil {
		return nil
	}
	nb, err := notebook.Read(sheet.Lab.ID+".ipynb", text, notebook.Options{})
	if err != nil {
		return nil
	}
	if lab, code, ok, err := bank.Declared(nb); err != nil || !ok || !sheet.Lab.Is(lab) || code != sheet.Code {
		return nil
	}
	changed, err := sheet.Changed(nb)
	if err != nil {
		return nil // told where the recording is asked for
	}
	return changed
}

// NotJudged says why an answer to a question that the bank has changed is not taken.
func NotJudged(changed []string) string {
	return fmt.Sprintf("Not judged: this program has other numbers or another right answer here than the one that made this sheet (%s).\nAsk for the version that it was made with, or begin the lab anew.", strings.Join(changed, ", "))
}
