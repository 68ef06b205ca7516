package labserver_test

import (
	"fmt"
	"strings"

	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/wire"
)

// A confined program's frames go to a session; what it says about an answer
// goes to Show, and the program is told nothing.
func ExampleServer_Session() {
	b, err := labserver.New(labserver.Options{InMemory: true})
	if err != nil {
		fmt.Println(err)
		return
	}
	s := b.Session(labserver.SessionOptions{
		Confined: true,
		Show: func(d labserver.Display) error {
			verdict, _, _ := strings.Cut(d["text/plain"].(string), "\n")
			fmt.Println(verdict)
			return nil
		},
	})

	answer := wire.Frame{Head: wire.Head{Kind: wire.Answer, Lab: "00-first-steps", Question: "brackets", Form: wire.FormChoice, Text: "a"}}
	in, _ := answer.Append(nil)
	reply, _ := wire.Decode(s.Exchange(in))
	fmt.Println("the program learns:", reply.Kind)

	sheets, _ := s.Summaries()
	fmt.Printf("marks %d of %d, left: %v\n", sheets[0].Marks, sheets[0].Of, sheets[0].Left())
	// Output:
	// ✓ right: brackets, read as option a (marks 1 of 1)
	// the program learns: recorded
	// marks 1 of 7, left: [fall-time pull mean]
}
