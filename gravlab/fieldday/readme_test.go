package fieldday

import (
	"os"
	"strings"
	"testing"
)

// TestReadmeShowsExample: the program in the README is the example that is run, of at most 40
// lines.
func TestReadmeShowsExample(t *testing.T) {
	source, err := os.ReadFile("example_test.go")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, body, _ := strings.Cut(string(source), "func Example() {\n")
	body, _, found := strings.Cut(body, "\t// Output:")
	if !found || !strings.Contains(string(readme), "```go\n"+body+"```") {
		t.Errorf("README.md does not show the body of Example:\n%s", body)
	}
	if n := strings.Count(body, "\n"); n > 40 {
		t.Errorf("the example has %d lines, more than 40", n)
	}
}
