package marking

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/clip"
)

// keptFormat counts changes of what a record holds.
const keptFormat = 1

// A keptHandout is what the lecturer keeps of a handout: what each sheet was. With it a
// later call can tell whether the bank still is the one that the sheets were made by. It
// stays with the lecturer: from the fingerprint of an answer the answer can be searched
// for.
type keptHandout struct {
	Format  int
	Lab     string
	Word    string `json:",omitempty"` // of a resit
	Sealed  bool
	Version string `json:",omitempty"` // of the program, as its clone names it
	Bank    string `json:",omitempty"` // folder of the own bank
	// Base is the fingerprint of the bank as it shows on sample sheets: where it is the
	// same, the sheets are not looked at one by one.
	Base   string
	Code   []uint64             // fingerprints of the code that all were given (see winnow)
	Sheets map[string]keptSheet // by student
}

type keptSheet struct {
	Code       bank.Code
	Questions  map[string]string // fingerprints (bank.Sheet.Fingerprints)
	Texts      map[string]string // SHA-256 of what each question's cell says
	Recordings map[string]string // SHA-256 of the files
}

// KeptPath is where the record of a handout lies by default: beside the class key.
func KeptPath(key string, lab bank.Lab, word string, sealed bool) string {
	kind := "practice"
	if sealed {
		kind = "assessed"
	}
	name := strings.TrimSuffix(key, filepath.Ext(key)) + "-" + lab.Number() + "-" + kind
	if word != "" {
		name += "-" + word
	}
	return name + recordEnding
}

const recordEnding = ".handout"

// A HandoutRecord is the record of a handout, with the code of each student's sheet; none if
// it cannot be read.
type HandoutRecord struct {
	Path  string
	Codes map[string]bank.Code // by student
}

// HandoutRecords are the records beside a class key, wherever they are by default (KeptPath).
func HandoutRecords(key string) []HandoutRecord {
	dir, base := filepath.Split(strings.TrimSuffix(key, filepath.Ext(key)) + "-")
	entries, err := os.ReadDir(filepath.Clean(dir))
	if err != nil {
		return nil
	}
	var out []HandoutRecord
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), base) || filepath.Ext(e.Name()) != recordEnding {
			continue
		}
		r, kept := HandoutRecord{Path: filepath.Join(dir, e.Name()), Codes: map[string]bank.Code{}}, keptHandout{}
		if text, err := os.ReadFile(r.Path); err == nil && json.Unmarshal(text, &kept) == nil {
			for id, s := range kept.Sheets {
				r.Codes[id] = s.Code
			}
		}
		out = append(out, r)
	}
	return out
}

// readKept reads a record; ok is false if there is none.
func readKept(path string) (r keptHandout, ok bool, err error) {
	if path == "" {
		return r, false, nil
	}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return r, false, nil
	}
	if err != nil {
		return r, false, wrong(path, 0, "the record of the handout cannot be read: %v", plain(err))
	}
	if err := json.Unmarshal(text, &r); err != nil {
		line := 1
		var at *json.SyntaxError
		if errors.As(err, &at) {
			line += strings.Count(string(text[:min(int(at.Offset), len(text))]), "\n")
		}
		return r, false, wrong(path, line, "is not the record of a handout, or was changed by hand: %v; take the file that the handout wrote", clip.Line(err.Error(), 120))
	}
	if r.Format != keptFormat {
		return r, false, wrong(path, 0, "is a record of the format %d, and this program knows %d; use the program that handed the lab out", r.Format, keptFormat)
	}
	return r, true, nil
}

func (r keptHandout) write(path string) error {
	text, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(path, append(text, '\n'), 0o600)
}

// keep is what a record keeps of a sheet.
func keep(s bank.Sheet) (keptSheet, error) {
	out := keptSheet{Code: s.Code, Texts: map[string]string{}, Recordings: map[string]string{}}
	var err error
	if out.Questions, err = s.Fingerprints(); err != nil {
		return out, err
	}
	for _, q := range s.Questions {
		out.Texts[q.ID] = fingerprint([]byte(strings.TrimSpace(q.Text())))
	}
	for _, r := range s.Recordings {
		table, err := r.Table()
		if err != nil {
			return out, err
		}
		out.Recordings[r.ID] = fingerprint(table)
	}
	return out, nil
}

// baseOf is the fingerprint of a lab as it shows on sample sheets.
func baseOf(lab bank.Lab) (string, error) {
	var all []string
	for _, s := range samples(lab) {
		prints, err := s.Fingerprints()
		if err != nil {
			return "", err
		}
		for _, id := range slices.Sorted(maps.Keys(prints)) {
			all = append(all, id+" "+prints[id])
		}
	}
	return fingerprint([]byte(strings.Join(all, "\n")))[:32], nil
}

// samples are three sheets of a lab that stand for all.
func samples(lab bank.Lab) []bank.Sheet {
	return []bank.Sheet{lab.Sheet(""), lab.Sheet(bank.NumberedCode(lab.ID, 1)), sealedSample(lab)}
}

// sealedSample is a sealed sheet that is nobody's.
func sealedSample(lab bank.Lab) bank.Sheet {
	key := []byte("the sample sheet of a lab")
	return lab.WithKey(bank.SheetKey(key, lab.ID, "", "")).Sheet(bank.SealedCode(key, lab.ID, "", ""))
}

// ChangedBank says that a lab was handed out with another bank than this one.
type ChangedBank struct {
	Record  string              // the file that says so
	Lab     bank.Lab            //
	Version string              // of the program that handed it out, if it is known
	Bank    string              // folder of the own bank then, if there was one
	Sheets  map[string][]string // questions that differ, by student
}

// questions lists the questions that differ, each with the number of its sheets.
func (c *ChangedBank) questions() string {
	questions := map[string]int{}
	for _, ids := range c.Sheets {
		for _, id := range ids {
			questions[id]++
		}
	}
	var list []string
	for _, id := range slices.Sorted(maps.Keys(questions)) {
		list = append(list, fmt.Sprintf("%s (%s)", id, count(questions[id], "sheet")))
	}
	return strings.Join(list, ", ")
}

func (c *ChangedBank) Error() string {
	with := "the version of this program with which it was handed out"
	if c.Version != "" {
		with = "version " + c.Version + " of this program, with which it was handed out"
	}
	if c.Bank != "" {
		with += " and the bank in " + c.Bank + " as it was then"
	}
	if c.Version != "" && !strings.HasSuffix(c.Version, "-dirty") {
		with += fmt.Sprintf(" (git worktree add ../gravlab-%s %s in the clone, and run it there)", c.Version, c.Version)
	}
	return fmt.Sprintf("%s: the bank has changed since lab %s was handed out. Other numbers, recordings or right answers have: %s. Nothing was judged. Mark with %s; or, to judge anew by the bank as it is now, add --judge-again", c.Record, c.Lab.Number(), c.questions(), with)
}

// differing compares the sheets of a record with those that the bank makes now.
func (r keptHandout) differing(path string, lab bank.Lab, make func(student string, code bank.Code) bank.Sheet, students []string) (*ChangedBank, error) {
	out := &ChangedBank{Record: path, Lab: lab, Version: r.Version, Bank: r.Bank, Sheets: map[string][]string{}}
	for _, id := range students {
		kept, ok := r.Sheets[id]
		if !ok {
			continue
		}
		ids, err := make(id, kept.Code).Differing(kept.Questions)
		if err != nil {
			return nil, err
		}
		if len(ids) > 0 {
			out.Sheets[id] = ids
		}
	}
	if len(out.Sheets) == 0 {
		return nil, nil
	}
	return out, nil
}
