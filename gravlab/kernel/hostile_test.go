//go:build linux

package kernel

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/go-zeromq/zmq4"
)

// TestOwnKernelHasNoPorts: what other users of the machine cannot reach they
// can neither read nor end.
func TestOwnKernelHasNoPorts(t *testing.T) {
	needGoNB(t)
	t.Parallel()
	l, err := NewLive(LiveOptions{DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	res, err := l.Run(t.Context(), LiveCell{Source: "%%\nfmt.Println(42)", Log: func(string) {}, Tell: func(Piece) {}})
	if err != nil || res.Outcome != Ran {
		t.Fatalf("%+v %v", res, err)
	}
	s := l.r.session.engine.(*supervisor)
	own := socketsOf(t, s.pid)
	if len(own) < 5 {
		t.Fatalf("GoNB has the sockets %v only: this test looks at the wrong process", own)
	}
	for _, table := range []string{"tcp", "tcp6", "udp", "udp6"} {
		for _, inode := range column(t, "/proc/net/"+table, 9) {
			if own[inode] {
				t.Errorf("GoNB has a socket in /proc/net/%s", table)
			}
		}
	}
	paths, err := filepath.Glob(s.conn.IP + "-*")
	if err != nil || len(paths) != 5 {
		t.Errorf("its sockets are %v (%v)", paths, err)
	}
	if info, err := os.Stat(filepath.Dir(s.conn.IP)); err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("others may enter the folder of its sockets: %v %v", info.Mode(), err)
	}
}

// socketsOf returns the inodes of a process's sockets.
func socketsOf(t *testing.T, pid int) map[string]bool {
	t.Helper()
	links, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", pid))
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	for _, link := range links {
		to, _ := os.Readlink(link)
		if inode, ok := strings.CutPrefix(to, "socket:["); ok {
			found[strings.TrimSuffix(inode, "]")] = true
		}
	}
	return found
}

// column returns a column of a table of the system, without its head.
func column(t *testing.T, file string, n int) []string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var cells []string
	for i, line := range strings.Split(strings.TrimSpace(string(text)), "\n") {
		if fields := strings.Fields(line); i > 0 && len(fields) > n {
			cells = append(cells, fields[n])
		}
	}
	return cells
}

// TestForgedMessages sends to a kernel of a front end what any user of the
// machine can send to a port. GoNB ends on some of it; then the kernel says why,
// fails, and leaves nothing. It never goes on half.
func TestForgedMessages(t *testing.T) {
	needGoNB(t)
	// dealer sends frames as a client would.
	dealer := func(t *testing.T, address string, frames ...[]byte) {
		t.Helper()
		s := zmq4.NewDealer(context.Background(), zmq4.WithLogger(log.New(io.Discard, "", 0)))
		t.Cleanup(func() { s.Close() })
		if err := s.Dial(address); err != nil {
			t.Fatal(err)
		}
		if err := s.SendMulti(zmq4.NewMsgFrom(frames...)); err != nil {
			t.Fatal(err)
		}
	}
	// raw sends bytes.
	raw := func(t *testing.T, port int, data []byte) {
		t.Helper()
		conn, err := net.Dial("tcp", fmt.Sprintf("127.0.0.1:%d", port))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { conn.Close() })
		if _, err := conn.Write(data); err != nil {
			t.Fatal(err)
		}
	}
	// The greeting of ZMTP 3.0, section "Connection Greeting", with the mechanism NULL.
	greeting := append([]byte{0xff, 0, 0, 0, 0, 0, 0, 0, 0, 0x7f, 3, 0}, append([]byte("NULL"), make([]byte, 48)...)...)
	for _, c := range []struct {
		name string
		send func(t *testing.T, conn connection)
		ends bool // GoNB ends on it
	}{
		{"wrongly signed, to shell", func(t *testing.T, conn connection) {
			frames, err := encode("another", newHeader("x", "execute_request"), executeRequest("!touch $TMPDIR/forged", false))
			if err != nil {
				t.Fatal(err)
			}
			dealer(t, conn.address(conn.ShellPort), frames...)
		}, true},
		{"not signed, to control", func(t *testing.T, conn connection) {
			frames, err := encode("", newHeader("x", "shutdown_request"), map[string]any{"restart": false})
			if err != nil {
				t.Fatal(err)
			}
			dealer(t, conn.address(conn.ControlPort), frames...)
		}, true},
		{"no message of Jupyter's, to stdin", func(t *testing.T, conn connection) {
			dealer(t, conn.address(conn.StdinPort), []byte("a"), []byte("b"))
		}, true},
		{"a greeting and a frame of 4 EB", func(t *testing.T, conn connection) {
			raw(t, conn.ShellPort, binary.BigEndian.AppendUint64(append(bytes.Clone(greeting), 0x06), 1<<62))
		}, true},
		{"no ZMTP", func(t *testing.T, conn connection) {
			raw(t, conn.ShellPort, bytes.Repeat([]byte("GET / HTTP/1.1\r\n\r\n"), 9))
		}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := serve(t)
			c.send(t, s.client.conn)
			if !c.ends {
				s.execute(t, "%%\nfmt.Println(\"still here\")")
				s.until(t, "output", prints("still here"))
				return
			}
			<-s.ended
			if code := s.cmd.ProcessState.ExitCode(); code != 1 {
				t.Errorf("the exit code is %d, want 1", code)
			}
			if said := s.said.String(); !strings.Contains(said, forgedMessage) {
				t.Errorf("the kernel says why it ended in these words: %q", said)
			}
			left, _ := filepath.Glob(filepath.Join(s.tmp, "gravlab-*"))
			if len(left) > 0 || len(s.left()) > 0 {
				t.Errorf("left behind: folders %v, processes %v", left, s.left())
			}
		})
	}
}

// TestGoneWhileDialled: a kernel that ends while it is dialled breaks the
// connection before its end is seen. The end is what is told.
func TestGoneWhileDialled(t *testing.T) {
	t.Parallel()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	gone := make(chan struct{})
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		c.(*net.TCPConn).SetLinger(0) // a reset, as of a process that has ended
		c.Close()
		time.Sleep(50 * time.Millisecond)
		close(gone)
	}()
	port := l.Addr().(*net.TCPAddr).Port
	conn := connection{Transport: "tcp", IP: "127.0.0.1", ShellPort: port, IOPubPort: port}
	if c, err := dial(t.Context(), conn, gone, iopubChannel, shellChannel); !errors.Is(err, errGone) {
		t.Errorf("%v, %v; want %v", c, err, errGone)
	}
}

// TestWhyKernelEnded: what is made of GoNB's last words, in the orders in which
// they can come.
func TestWhyKernelEnded(t *testing.T) {
	const (
		warning  = "W0000 no key file\n"
		unsigned = "E0000 shell message error: message had an invalid signature\n"
		asked    = "I0000 Shutting down in response to shutdown_request\n"
		// A reader of a socket has ended before who waits for its messages.
		nothing = "panic: runtime error: invalid memory address or nil pointer dereference\n" +
			"github.com/janpfeifer/gonb/internal/dispatcher.RunKernel.func2({0x0, 0x0}, 0x0?)\n"
	)
	for _, c := range []struct {
		name             string
		atStart, after   string
		forged, shutdown bool
	}{
		{"a warning of the start", warning, "", false, false},
		{"a forged message", warning, unsigned, true, false},
		{"a forged message before the start is over", warning + unsigned, "", true, false},
		{"no message of Jupyter's", warning, nothing, true, false},
		{"a request", warning, asked, false, true},
		{"a request, and no further message", warning, asked + nothing, false, true},
	} {
		var log tail
		io.WriteString(&log, c.atStart)
		log.forgetStart()
		io.WriteString(&log, c.after)
		if log.tellsOfForgery() != c.forged || log.tellsOfShutdown() != c.shutdown {
			t.Errorf("%s: forged %t, asked for %t", c.name, log.tellsOfForgery(), log.tellsOfShutdown())
		}
		if said := log.lastWords(); c.after == "" && !c.forged && said != "" {
			t.Errorf("%s: the last words are %q", c.name, said)
		}
	}
}
