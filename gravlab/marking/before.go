package marking

import (
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/notebook"
)

// A lastCall is what the lecturer gave. It is kept in the store, so that the next call can
// tell what is missing: its verdicts would be others, and nobody would have asked for it.
type lastCall struct {
	Reference string   `json:",omitempty"` // name of the file
	Bank      string   `json:",omitempty"` // name of the folder
	Adjust    string   `json:",omitempty"` // name of the file, if it is not adjust.csv in the folder of the books
	Adjusted  []string `json:",omitempty"` // ids in it
	Anew      string   `json:",omitempty"` // the bank by which the lecturer wants it judged, though the handout had another
}

const givenName = "given"

// before looks at what was returned before anything is run: whether it is of one lab,
// and whether earlier marks would change since something that was given then is not given
// now. toRun is how many notebooks have to be run.
func (k *marker) before(c *collection) (toRun int, err error) {
	var last lastCall
	k.store.read(givenName, "marking", &last)
	lacks := missing(last, k.Marking)
	labs := map[string]int{}
	changed := map[string]bool{}
	seen := map[string]bool{}
	for _, f := range c.files {
		text, err := f.read()
		if err != nil {
			continue // told when it is looked at in earnest
		}
		files, _ := c.beside(f)
		key := files.key(fingerprint(text))
		if seen[key] {
			continue
		}
		seen[key] = true
		r, ok := k.store.run(key)
		if ok && len(lacks) > 0 {
			if id, other := k.otherMarks(key, r); other {
				changed[id] = true
			}
		}
		again, err := k.again(r, ok)
		if err != nil {
			return 0, err
		}
		if again && !k.JudgeAgain {
			toRun++
		}
		if ok && r.Lab == "" {
			continue
		}
		if !ok {
			r.Lab, r.Code = declared(text)
		}
		if lab, code, problem := k.sheet(r.Lab, r.Code); problem == "" {
			owners, err := k.ownersOf(lab.ID)
			if err != nil {
				return 0, err
			}
			if _, ours := owners[code]; ours {
				labs[lab.ID]++
				k.sealed = k.sealed || code.Sealed()
			}
		}
	}
	if last.Adjust != "" && k.Adjust == "" {
		for _, id := range last.Adjusted {
			changed[id] = true
		}
	}
	if len(changed) > 0 {
		names := slices.Sorted(maps.Keys(changed))
		return 0, wrong(k.Out, 0, "was last marked with %s; without, the marks of %s would change: %s. Give the same again, or take another folder with --out; a table with nothing but its header gives a table up, and keeps the folder",
			strings.Join(lacks, " and "), count(len(names), "student"), listed(names, 20))
	}
	if err := k.oneLab(labs); err != nil {
		return 0, err
	}
	return toRun, k.asHandedOut(labs)
}

// missing are the flags that were given last time and are not given now.
func missing(last lastCall, m Marking) []string {
	var all []string
	for _, f := range []struct{ flag, then, now string }{{"--reference", last.Reference, m.Reference}, {"--bank", last.Bank, m.Bank}, {"--adjust", last.Adjust, m.Adjust}} {
		if f.then != "" && f.now == "" {
			all = append(all, f.flag+" "+f.then)
		}
	}
	return all
}

// otherMarks says whose notebook a run is, and whether it would be judged otherwise
// than it was.
func (k *marker) otherMarks(key string, r run) (id string, other bool) {
	var j judged
	if r.Skipped != "" || r.Unread != "" || !k.store.read(key, "judged", &j) {
		return "", false
	}
	owners, err := k.ownersOf(r.Lab)
	i, ours := owners[bank.Code(r.Code)]
	if err != nil || !ours {
		return "", false
	}
	id = k.Class.Students[i].ID
	lab, err := exercises.Find(r.Lab)
	if err != nil {
		return id, true // the bank that is not given had the lab
	}
	sheet := k.sheetFor(lab, bank.Code(r.Code), i)
	for q, c := range callsOf(sheet) {
		if r.Calls[q] != c {
			return id, true
		}
	}
	var refs []reference
	if k.Reference != "" {
		all, err := readReferences(k.Reference, k.sample(lab), k.Class)
		if err != nil {
			return "", false // told when it is read in earnest
		}
		refs = all.of(id)
	}
	return id, !sameMarks(j.Verdicts, verdicts(sheet, r, refs).Verdicts)
}

// remember keeps what was given for the next call.
func (k *marker) remember(adjusted adjustments) error {
	var now lastCall
	if k.Reference != "" {
		now.Reference = filepath.Base(k.Reference)
	}
	if k.Bank != "" {
		now.Bank = filepath.Base(k.Bank)
	}
	if k.Adjust != "" && !sameFolder(k.Adjust, filepath.Join(k.Out, "adjust.csv")) {
		now.Adjust = filepath.Base(k.Adjust)
		now.Adjusted = slices.Sorted(maps.Keys(adjusted.marks))
		for id := range adjusted.chosen {
			if !slices.Contains(now.Adjusted, id) {
				now.Adjusted = append(now.Adjusted, id)
			}
		}
		slices.Sort(now.Adjusted)
	}
	var last lastCall
	k.store.read(givenName, "marking", &last)
	now.Anew = last.Anew
	return k.store.write(givenName, "marking", now)
}

// asHandedOut compares the bank with the records of the handouts of the labs that were
// handed in. If it is another, nothing is judged, unless the lecturer says so, now or at an
// earlier call with the same bank; then a remark keeps saying so.
func (k *marker) asHandedOut(labs map[string]int) error {
	if k.Records == "" {
		return nil
	}
	if k.Lab != "" {
		labs[k.Lab] += 0 // also if nothing of it was handed in
	}
	for _, id := range slices.Sorted(maps.Keys(labs)) {
		lab, err := exercises.Find(id)
		if err != nil {
			return err
		}
		had := map[bool]bool{}
		for _, sealed := range []bool{true, false} {
			path := KeptPath(k.Records, lab, k.Word, sealed)
			r, ok, err := readKept(path)
			if err != nil {
				return err
			}
			if !ok {
				continue
			}
			had[sealed] = true
			k.records = append(k.records, r)
			if err := k.sameAs(r, path, lab); err != nil {
				return err
			}
		}
		// Where both were handed out, what came back says which of the two is marked.
		k.sealed = k.sealed || had[true] && !had[false]
	}
	return nil
}

// sameAs compares the bank with the record of a handout.
func (k *marker) sameAs(r keptHandout, path string, lab bank.Lab) error {
	base, err := baseOf(lab)
	if err != nil || r.Base == base {
		return err
	}
	var ids []string
	for _, s := range k.Class.Students {
		ids = append(ids, s.ID)
	}
	changed, err := r.differing(path, lab, func(student string, code bank.Code) bank.Sheet {
		return sheetOf(lab, k.Key, student, k.Word, code)
	}, ids)
	if err != nil || changed == nil {
		return err
	}
	var last lastCall
	k.store.read(givenName, "marking", &last)
	if last.Anew != base {
		if !k.JudgeAgain {
			return changed
		}
		last.Anew = base
		if err := k.store.write(givenName, "marking", last); err != nil {
			return err
		}
	}
	k.anew = append(k.anew, remark{file: filepath.Base(path), text: "the bank is another than that of the handout, and you had it judged anew: other numbers, recordings or right answers have " + changed.questions()})
	return nil
}

// oneLab refuses sheets of several labs, unless it is said which lab is marked.
func (k *marker) oneLab(counts map[string]int) error {
	if k.Lab != "" || len(counts) < 2 {
		return nil
	}
	var list []string
	for _, id := range slices.Sorted(maps.Keys(counts)) {
		list = append(list, fmt.Sprintf("%s (%d)", id, counts[id]))
	}
	return wrong(strings.Join(k.Returned, ", "), 0, "holds sheets of several labs, %s: say which with --lab", strings.Join(list, ", "))
}

// declared is the sheet that a notebook seems to declare, by its bytes: no more than
// a hint, since nothing of a notebook is parsed in this process.
func declared(text []byte) (lab, code string) {
	for _, d := range notebook.Declarations(string(text), 1) {
		return d.Lab, d.Code
	}
	return "", ""
}

// listed writes a list of names, so many of them.
func listed(names []string, most int) string {
	if len(names) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}
