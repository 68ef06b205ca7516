package bank

import (
	"fmt"

	"gravity.example/gravlab/judge"
)

// A Criterion is one line of the rubric of a text: what earns how many marks.
type Criterion struct {
	Marks int
	Text  string
}

// The questions that the sealed sheets of every graded lab end with. A person reads the
// answers.
const (
	FooledID = "fooled"
	DefendID = "defend"
)

// texts are the questions that only sealed sheets have.
func texts(s Sheet) []Question {
	fooled := Question{
		ID: FooledID, Kind: judge.KindText, Marks: 4, SealedOnly: true,
		Title: "What could have fooled you",
		Prompt: "Name two things in this lab that could have made one of your results wrong without your noticing it. For each, say in which direction it " +
			"would have moved the result, and by about how much; and what in your own record, or which further measurement, shows whether it happened.",
		Worked:    fmt.Sprintf("%%%%\nsheet.Words(%q, ``)", FooledID),
		Reasoning: "Each of the two things has a size and a sign, and a test that could have come out the other way.",
		Source:    Source{Text: "common practice, no source: a report names what could have gone wrong"},
		Rubric: []Criterion{
			{1, "Two things that belong to this apparatus and this record, and no commonplaces (\"human error\")."},
			{1, "For each, the direction in which it moves the result."},
			{1, "For at least one, a size that is worked out or read off the record."},
			{1, "For at least one, a test in the student's own record that could have failed."},
		},
	}
	which := "one of your results that has an uncertainty"
	best := 0
	for _, q := range s.Questions {
		if q.Kind == judge.KindMeasured && q.Marks > best {
			best, which = q.Marks, fmt.Sprintf("your answer to *%s* (`%s`)", q.Title, q.ID)
		}
	}
	defend := Question{
		ID: DefendID, Kind: judge.KindText, Marks: 4, SealedOnly: true,
		Title: "Defend your uncertainty",
		Prompt: fmt.Sprintf("Take %s. Say where its uncertainty comes from, the largest contribution first, and how you found each. Why is the uncertainty not half as "+
			"large, and why not twice? What would you do to halve it?", which),
		Worked:    fmt.Sprintf("%%%%\nsheet.Words(%q, ``)", DefendID),
		Reasoning: "The uncertainty follows from the record and from what is known of the apparatus; a reader can work it out again.",
		Source:    Source{Text: "common practice, no source: an uncertainty is stated with how it was found"},
		Rubric: []Criterion{
			{1, "The contributions are named, the largest first, with numbers."},
			{1, "Each is said to come from the scatter of the record or from something else, rightly."},
			{1, "A reason why it is neither half nor twice as large that rests on the record."},
			{1, "A step that would really halve it: four times the data only where the noise averages."},
		},
	}
	return []Question{fooled, defend}
}
