package exercises

import (
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// A lab of one's own is added, or takes the place of one with its id.
func TestAdd(t *testing.T) {
	before := slices.Clone(labs)
	defer func() { labs = before }()
	build := func(*bank.Draw) bank.Sheet {
		return bank.Sheet{Questions: []bank.Question{{ID: "one", Kind: judge.KindText, Marks: 7}}}
	}
	if err := Add(bank.Lab{ID: "91-own", Build: build}, bank.Lab{ID: "00-first-steps", Build: build}); err != nil {
		t.Fatal(err)
	}
	for _, id := range []string{"91", "91-own", "00", "0"} {
		l, err := Find(id)
		if err != nil || l.Sheet("").Marks() != 7 {
			t.Errorf("Find(%q) = %q, %v", id, l.ID, err)
		}
	}
	if len(labs) != len(before)+1 {
		t.Errorf("%d labs, want one more than %d", len(labs), len(before))
	}
	for _, c := range []struct {
		lab  bank.Lab
		want string
	}{
		{bank.Lab{ID: "00-other", Build: build}, "same number"},
		{bank.Lab{ID: "own", Build: build}, "needs one like"},
		{bank.Lab{ID: "92-own"}, "and a Build"},
		{bank.Lab{ID: "92-../x", Build: build}, "needs one like"},
	} {
		n := len(labs)
		if err := Add(bank.Lab{ID: "93-fine", Build: build}, c.lab); err == nil || !strings.Contains(err.Error(), c.want) || len(labs) != n {
			t.Errorf("Add(%q): %v, %d labs; want %q and nothing added", c.lab.ID, err, len(labs)-n, c.want)
		}
	}
}
