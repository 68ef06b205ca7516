//go:build linux

package kernel

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"gravity.example/gravlab/notebook"
)

// The front ends are those of Debian, run by its own Python.
const debianPython = "/usr/bin/python3"

// A lobby is an installation of the kernel that a test has for itself, and the
// environment of front ends that find it.
type lobby struct {
	env []string
	tmp string
	run string
}

// install installs the kernel for a front end that needs the Python modules.
func install(t *testing.T, modules ...string) *lobby {
	t.Helper()
	needGoNB(t)
	check := exec.Command(debianPython, "-c", "import "+strings.Join(modules, ", "))
	if out, err := check.CombinedOutput(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("%s lacks %v, which .ci/run should have installed: %s", debianPython, modules, out)
		}
		t.Skipf("needs Debian's packages for the Python modules %v (see DEVELOPERS.md); %s does not have them", modules, debianPython)
	}
	ownCache(t)
	tmp, err := os.MkdirTemp("/tmp", "gl")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(tmp) })
	data := t.TempDir()
	t.Setenv("JUPYTER_DATA_DIR", data)
	if _, err := Install(t.Context(), InstallOptions{}); err != nil {
		t.Fatal(err)
	}
	l := &lobby{tmp: tmp, run: "KERNEL_TEST_RUN=" + newID()}
	l.env = append(os.Environ(), l.run, "TMPDIR="+tmp, "JUPYTER_RUNTIME_DIR="+t.TempDir(), "JUPYTER_CONFIG_DIR="+t.TempDir(), "IPYTHONDIR="+t.TempDir(), "GRAVLAB_DATA="+t.TempDir())
	return l
}

func (l *lobby) command(t *testing.T, program string, args ...string) *exec.Cmd {
	ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second)
	t.Cleanup(cancel)
	cmd := exec.CommandContext(ctx, program, args...)
	cmd.Env = l.env
	cmd.Dir = l.tmp
	return cmd
}

// object runs a program that prints a JSON object on its last line.
func (l *lobby) object(t *testing.T, v any, program string, args ...string) {
	t.Helper()
	cmd := l.command(t, program, args...)
	var said bytes.Buffer
	cmd.Stderr = &said
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%s: %v\n%s%s", args, err, out, said.Bytes())
	}
	lines := bytes.Split(bytes.TrimSpace(out), []byte("\n"))
	if err := json.Unmarshal(lines[len(lines)-1], v); err != nil {
		t.Fatalf("%s printed no JSON object: %v\n%s%s", args, err, out, said.Bytes())
	}
}

// nothingLeft holds that what the front end started is gone.
func (l *lobby) nothingLeft(t *testing.T) {
	t.Helper()
	s := &served{run: l.run}
	var left []int
	var dirs []string
	for limit := time.Now().Add(20 * time.Second); time.Now().Before(limit); time.Sleep(10 * time.Millisecond) {
		left = s.left()
		dirs, _ = filepath.Glob(filepath.Join(l.tmp, "gravlab-*"))
		if len(left) == 0 && len(dirs) == 0 {
			return
		}
	}
	t.Errorf("left behind: processes %v, folders %v", left, dirs)
}

func (l *lobby) file(t *testing.T, cells ...string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "lab.ipynb")
	if err := book(Name, "go", cells...).WriteFile(name); err != nil {
		t.Fatal(err)
	}
	return name
}

func TestNBConvert(t *testing.T) {
	l := install(t, "nbconvert", "nbclient")
	good := l.file(t, "const a = 6", "%%\nfmt.Println(a * 7)", "!echo from the shell")
	out := filepath.Join(t.TempDir(), "done.ipynb")
	if text, err := l.command(t, debianPython, "-m", "nbconvert", "--to", "notebook", "--execute", "--output", out, good).CombinedOutput(); err != nil {
		t.Fatalf("nbconvert: %v\n%s", err, text)
	}
	nb, err := notebook.ReadFile(out, notebook.Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"", "42\n", "from the shell\n"} {
		if got := printed(nb.Cells[i]); got != want {
			t.Errorf("cell %d printed %q, want %q", i+1, got, want)
		}
	}
	l.nothingLeft(t)
	bad := l.file(t, "%%\nos.Exit(3)", "%%\nfmt.Println(\"not reached\")")
	if text, err := l.command(t, debianPython, "-m", "nbconvert", "--to", "notebook", "--execute", "--stdout", bad).CombinedOutput(); err == nil {
		t.Errorf("nbconvert takes a cell that exits with 3 for a success:\n%s", text)
	}
	l.nothingLeft(t)
}

func TestNBClient(t *testing.T) {
	l := install(t, "nbclient", "nbformat")
	type report struct {
		Error  string
		Counts []int
		Text   []string
		Errors [][]string
	}
	var got report
	l.object(t, &got, debianPython, abs(t, "testdata/client.py"), l.file(t, "%%\nfmt.Println(1)", "%%\nfor {}", "%%\nfmt.Println(3)"), "2", "interrupt")
	if got.Error != "" {
		t.Errorf("nbclient ended with %s", got.Error)
	}
	if want := []int{1, 2, 3}; !slices.Equal(got.Counts, want) {
		t.Errorf("execution counts %v, want %v", got.Counts, want)
	}
	if got.Text[0] != "1\n" || got.Text[2] != "3\n" {
		t.Errorf("cells printed %q, want 1 and 3 around the interrupted one", got.Text)
	}
	if len(got.Errors[1]) != 1 || !strings.Contains(got.Errors[1][0], "signal: interrupt") {
		t.Errorf("the interrupted cell has the errors %q", got.Errors[1])
	}
	l.nothingLeft(t)
	got = report{}
	l.object(t, &got, debianPython, abs(t, "testdata/client.py"), l.file(t, "%%\npanic(\"on purpose\")", "%%\nfmt.Println(3)"), "30", "stop")
	if got.Error != "CellExecutionError" {
		t.Errorf("after a panic nbclient ended with %q, want CellExecutionError", got.Error)
	}
	l.nothingLeft(t)
}

func TestKernelHarness(t *testing.T) {
	l := install(t, "jupyter_kernel_test")
	l.harness(t, nil, "test_display_data", "test_error", "test_execute_stderr", "test_execute_stdout", "test_kernel_info")
}

func TestCompletion(t *testing.T) {
	if goplsDir() == "" {
		t.Skip("needs gopls, which is optional: `gravlab kernel install --complete` builds it")
	}
	l := install(t, "jupyter_kernel_test")
	l.harness(t, []string{"completion"}, "test_completion", "test_inspect")
}

// harness runs the kernel harness; the tests named must pass, and none may fail.
func (l *lobby) harness(t *testing.T, args []string, want ...string) {
	t.Helper()
	var got struct {
		Run     int
		Passed  []string
		Failed  map[string]string
		Skipped []string
	}
	l.object(t, &got, debianPython, append([]string{abs(t, "testdata/harness.py")}, args...)...)
	for name, why := range got.Failed {
		t.Errorf("%s failed:\n%s", name, why)
	}
	for _, name := range want {
		if !slices.Contains(got.Passed, name) {
			t.Errorf("%s did not pass; passed %v, skipped %v", name, got.Passed, got.Skipped)
		}
	}
	l.nothingLeft(t)
}

// TestFrontEndDies kills the front end instead of the kernel.
func TestFrontEndDies(t *testing.T) {
	l := install(t, "jupyter_client")
	if out, err := l.command(t, debianPython, abs(t, "testdata/orphan.py")).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	l.nothingLeft(t)
}

func TestNotebookServer(t *testing.T) {
	l := install(t, "notebook", "tornado")
	conn, err := newConnection("") // five free ports; one is enough
	if err != nil {
		t.Fatal(err)
	}
	base := fmt.Sprintf("http://127.0.0.1:%d", conn.ShellPort)
	cmd := l.command(t, debianPython, "-m", "notebook", "--no-browser", "--allow-root", "--ip=127.0.0.1",
		fmt.Sprintf("--port=%d", conn.ShellPort), "--NotebookApp.port_retries=0", "--NotebookApp.token=lab")
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { cmd.Wait(); close(ended) }()
	defer func() {
		cmd.Process.Kill()
		<-ended
	}()
	wait(t, "the notebook server", func() bool {
		select {
		case <-ended:
			t.Fatalf("the notebook server has ended:\n%s", said.Bytes())
		default:
		}
		time.Sleep(50 * time.Millisecond)
		r, err := http.Get(base + "/api?token=lab")
		if err == nil {
			r.Body.Close()
		}
		return err == nil
	})
	var got struct {
		Specs                                []string
		First, Interrupted, After, Restarted []string
		Forged, States                       []string
		Left                                 []any
	}
	l.object(t, &got, debianPython, abs(t, "testdata/server.py"), base, "lab")
	if !slices.Contains(got.Specs, Name) {
		t.Errorf("the server knows the kernels %v, want %s among them", got.Specs, Name)
	}
	for _, c := range []struct {
		name, text, status string
		got                []string
	}{
		{"first", "42", "ok", got.First},
		{"interrupted while compiled", "", "error", got.Interrupted},
		{"after it", "still here", "ok", got.After},
		{"after a restart", "", "error", got.Restarted}, // the constant is gone
		{"after a forged message", "here again", "ok", got.Forged},
	} {
		if len(c.got) != 2 || !strings.Contains(c.got[0], c.text) || c.got[1] != c.status {
			t.Errorf("%s: printed and answered %q, want %q and %q", c.name, c.got, c.text, c.status)
		}
	}
	if len(got.Left) > 0 {
		t.Errorf("the server still has the kernels %v", got.Left)
	}
	cmd.Process.Signal(syscall.SIGTERM)
	<-ended
	if !strings.Contains(said.String(), forgedMessage) {
		t.Errorf("the server's log does not say why the kernel was restarted:\n%s", said.Bytes())
	}
	l.nothingLeft(t)
}

// TestNoPorts runs the kernel for a front end that uses sockets in the user's folder.
func TestNoPorts(t *testing.T) {
	l := install(t, "jupyter_client")
	var got struct {
		Text    string
		Sockets int
		Ports   []int
	}
	l.object(t, &got, debianPython, abs(t, "testdata/noports.py"))
	if got.Text != "42\n" {
		t.Errorf("the cell printed %q, want 42", got.Text)
	}
	if got.Sockets < 10 { // the kernel's five and the front end's
		t.Errorf("%d sockets were looked at: this proves nothing", got.Sockets)
	}
	if len(got.Ports) > 0 {
		t.Errorf("the kernel listens at the ports %v", got.Ports)
	}
	l.nothingLeft(t)
}

func abs(t *testing.T, name string) string {
	t.Helper()
	path, err := filepath.Abs(name)
	if err != nil {
		t.Fatal(err)
	}
	return path
}
