package door

import (
	"io"
	"net/http"
	"time"
)

// A body is the body of a request with its deadline: whoever sends half a request cannot
// hold its connection, and a large one may come over a slow line.
//
// The server's ReadTimeout would not do. It also ends answers that take longer,
// since net/http goes on reading to see whether the client has gone, and takes
// the deadline for that.
type body struct {
	io.ReadCloser
	grace time.Duration
	rate  int64 // bytes per second
	conn  *http.ResponseController
	began time.Time
	came  int64 // bytes so far
}

// limit gives the body of a request its deadline.
func (d *Door) limit(w http.ResponseWriter, r *http.Request) {
	if r.ContentLength == 0 { // -1 is a body of unknown length
		return
	}
	b := &body{ReadCloser: r.Body, grace: d.Grace, rate: d.Rate, conn: http.NewResponseController(w), began: time.Now()}
	if b.grace == 0 {
		b.grace, b.rate = 10*time.Second, 16<<10
	}
	b.wait()
	r.Body = b
}

// wait sets the deadline for the rest. A connection that knows no deadlines
// stays without one.
func (b *body) wait() {
	more := float64(b.came) / float64(b.rate) * float64(time.Second)
	b.conn.SetReadDeadline(b.began.Add(b.grace + time.Duration(more)))
}

func (b *body) Read(p []byte) (int, error) {
	n, err := b.ReadCloser.Read(p)
	b.came += int64(n)
	if err == io.EOF {
		b.conn.SetReadDeadline(time.Time{})
	} else if n > 0 {
		b.wait()
	}
	return n, err
}
