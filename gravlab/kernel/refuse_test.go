package kernel

import (
	"strings"
	"testing"
)

func TestRefuse(t *testing.T) {
	const gonbui = "import \"github.com/janpfeifer/gonb/gonbui\"\n"
	const ask = "import \"gravity.example/gravlab/ask\"\n"
	for _, c := range []struct{ source, want string }{
		{"%%\nfmt.Println(1)", ""},
		{"%%\nfmt.Println(1)\n%%\nfmt.Println(2)", "two lines"},
		{"%main\nx()\n%main\ny()", "two lines"},
		{"%%\nx()\n//gonb:%%\ny()", "two lines"},
		{"// 90 %% of it\n%%\nx()", ""},
		{"% ", "lone \"%\""},
		{"!  \t", "lone \"!\""},
		{"%", ""}, // one character: an ordinary line, which does not compile
		{"x := 1\n! \n", "line 2"},
		{"%%script", "%%script needs"},
		{"%%script python3\n% \n! ", ""}, // the script's own lines
		{"%%bash\necho a\n! \n", ""},
		{"%cd \"\"", "empty name"},
		{"%cd ..", ""},
		{"%capture \"\"", "empty name"},
		{"%%writefile \"\"\na", "%%writefile needs"},
		{"%with_inputs\n!cat", "asks for input"},
		{"%with_password\n!cat", "asks for input"},
		{"!echo a \\\n% \\\nb", ""}, // all one command
		{gonbui + "%%\ngonbui.DisplayHTML(\"a\")", ""},
		{gonbui + ask + "%%\nask.Sheet(\"a\", \"b\").Done()\ngonbui.DisplayHTML(\"a\")", "show.HTML"},
		{gonbui + "%%\nsheet.Done()\ngonbui.DisplayHTML(\"a\")", ""}, // no ask so far
		{ask + "%%\n// gonbui.DisplayHTML would not do here\nask.Sheet(\"a\", \"b\").Done()", ""},
		{"%%\nshow.HTML(\"a\")\ngonbui.DisplayHTML(\"a\")", "show.HTML"}, // goimports finds both
		{"", ""},
	} {
		got := refuse(c.source, map[string]bool{})
		if (got == "") != (c.want == "") || !strings.Contains(got, c.want) {
			t.Errorf("refuse(%q) = %q, want %q in it", c.source, got, c.want)
		}
	}
}

// TestRefuseRemembers: GoNB carries imports from cell to cell.
func TestRefuseRemembers(t *testing.T) {
	uses := map[string]bool{}
	for _, source := range []string{
		"import (\n\t\"fmt\"\n\t\"gravity.example/gravlab/ask\"\n)\nvar sheet = ask.Sheet(\"a\", \"\")",
		"import \"github.com/janpfeifer/gonb/gonbui\"\n%%\ngonbui.DisplayHTML(\"a\")",
		"%%\nsheet.Done()",
	} {
		if got := refuse(source, uses); got != "" {
			t.Fatalf("refuse(%q) = %q, want that it passes", source, got)
		}
	}
	if got := refuse("%%\nsheet.Done()\ngonbui.DisplayHTML(\"a\")", uses); got == "" {
		t.Error("a cell that uses both passes")
	}
}

func TestDeclarations(t *testing.T) {
	for _, c := range []struct{ source, want string }{
		{"const a = 1\n%%\nfmt.Println(a)", "const a = 1\n"},
		{"%%\nfmt.Println(a)", ""},
		{"%% -v 3\nfmt.Println(a)", ""},
		{"%main\nfmt.Println(a)", ""},
		{"//gonb:%%\nfmt.Println(a)", ""},
		{"!rm -r x \\\n  y\nconst a = 1", "const a = 1"},
		{"%env A B\nconst a = 1", "%env A B\nconst a = 1"},
		{"%%bash\nrm x", ""},
		{"func f() {\n}\n", "func f() {\n}\n"},
	} {
		if got := declarations(c.source); got != c.want {
			t.Errorf("declarations(%q) = %q, want %q", c.source, got, c.want)
		}
	}
}

func FuzzRefuse(f *testing.F) {
	f.Add("%%\n%")
	f.Add("!\\\n\\")
	f.Add("import (\n\"a\"\n%%\n")
	f.Fuzz(func(t *testing.T, source string) {
		refuse(source, map[string]bool{})
		declarations(source)
	})
}
