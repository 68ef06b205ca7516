package sandbox

import (
	"os"
	"os/exec"
	"strings"
	"testing"
)

// TestProgramsStayThin: a student's program is compiled twice, by Go and by wazero,
// and most of that time goes into what it links. Of this module nothing that a
// cell may import links what a lab has no use for.
func TestProgramsStayThin(t *testing.T) {
	args := []string{"list", "-deps"}
	for _, p := range allowed {
		if strings.HasPrefix(p, module+"/") {
			args = append(args, p)
		}
	}
	cmd := exec.Command("go", args...)
	cmd.Env = append(os.Environ(), "GOOS=wasip1", "GOARCH=wasm")
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	seen := 0
	for _, p := range strings.Fields(string(out)) {
		seen++
		switch p {
		case "net", "net/http", "encoding/gob", "encoding/xml", "text/template", "html/template", "math/big", "os/exec", "encoding/json",
			"regexp", "image", "image/png", "compress/flate", "crypto/sha256", "testing", "context", "log":
			t.Errorf("a package that cells may import links %s", p)
		}
	}
	if seen < 100 {
		t.Errorf("%d packages are linked, which cannot be all", seen)
	}
}
