package page_test

import (
	"bufio"
	"fmt"
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"

	labpage "gravity.example/gravlab/page"
)

// half opens a connection and sends a request up to the middle of its body.
func (c *caller) half(r request, length int) net.Conn {
	c.Helper()
	conn, err := net.Dial("tcp", c.host())
	if err != nil {
		c.Fatal(err)
	}
	c.Cleanup(func() { conn.Close() })
	fmt.Fprintf(conn, "%s %s HTTP/1.1\r\nHost: %s\r\nOrigin: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\nCookie: %s\r\nX-Gravlab-Key: %s\r\n\r\n%s",
		r.method, r.path, c.host(), c.http.URL, length, c.cookie, c.key, r.body)
	return conn
}

// A request whose body does not come is given up, whoever has sent it.
func TestHalfRequests(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.server.SetPatience(300*time.Millisecond, 1000)
	stranger := *c // has no keys
	c.enter()
	limit := time.Now().Add(20 * time.Second) // of the test; that the page ends them is what is tested
	for name, conn := range map[string]net.Conn{
		"a reader's":                  c.half(request{method: "POST", path: labPath + "/save", body: `{"tab":`}, 1000),
		"a stranger's":                stranger.half(request{method: "POST", path: labPath + "/save", body: `{"tab":`}, 1000),
		"at the door":                 stranger.half(request{method: "POST", path: "/enter", body: `{"key":`}, 100),
		"to an address that is none":  stranger.half(request{method: "POST", path: "/none", body: `{`}, 100),
		"of a method that has none":   stranger.half(request{method: "GET", path: "/", body: `{`}, 100),
		"longer than the page allows": c.half(request{method: "POST", path: labPath + "/save", body: `{"tab":`}, 1<<30),
	} {
		conn.SetReadDeadline(limit)
		if _, err := io.Copy(io.Discard, conn); err != nil {
			t.Errorf("%s half request is still held: %v", name, err)
		}
	}
}

// A slow line is no attack, and neither is a box that runs for long.
func TestSlowButHonest(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.server.SetPatience(time.Second, 1000)
	c.enter()
	c.send(request{path: labPath + "?tab=a"})

	// 20 kB in 2 s: longer than the first second, and quicker than it must be.
	head, tail := `{"tab":"a","cells":{"code-06":"`, `"}}`
	conn := c.half(request{method: "POST", path: labPath + "/save", body: head}, len(head)+20_000+len(tail))
	for range 20 {
		time.Sleep(100 * time.Millisecond)
		io.WriteString(conn, strings.Repeat("x", 1000))
	}
	io.WriteString(conn, tail)
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	resp, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	if resp.StatusCode != 200 {
		text, _ := io.ReadAll(resp.Body)
		t.Errorf("a slow request is answered with %d %s", resp.StatusCode, text)
	}

	// The endless box is ended by the reader, not by the time for its request.
	box := `{"tab":"a","cell":"code-06","source":"// endless"}`
	conn = c.half(request{method: "POST", path: labPath + "/run", body: box}, len(box))
	conn.SetReadDeadline(time.Now().Add(20 * time.Second))
	if resp, err = http.ReadResponse(bufio.NewReader(conn), nil); err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() { io.Copy(io.Discard, resp.Body); close(ended) }()
	select {
	case <-ended:
		t.Error("the box has ended before the reader stopped it")
	case <-time.After(2500 * time.Millisecond):
	}
	if status, _, body := c.send(request{method: "POST", path: labPath + "/stop", body: `{"tab":"a","cell":"code-06"}`}); status != 200 {
		t.Errorf("stopping it: %d %s", status, body)
	}
	<-ended
}
