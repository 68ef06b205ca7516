package wire

import (
	"errors"
	"fmt"
	"sync"
)

// ErrNoServer says that no bench is there to exchange frames with: the program
// was started by hand. Nothing is judged then, and nothing shown but text.
var ErrNoServer = errors.New("no bench is running")

// link is the program's one connection.
var link struct {
	sync.Mutex
	lost error // why the connection is of no use any more
}

// Exchange sends a frame to the lab server and returns its reply. Calls from several
// goroutines take turns. A Refused reply is a reply, not an error.
func Exchange(f Frame) (reply Frame, err error) {
	link.Lock()
	defer link.Unlock()
	if link.lost != nil {
		return Frame{}, link.lost
	}
	pipes(&f.Head)
	out, err := f.Append(nil)
	if err != nil {
		return Frame{}, err
	}
	in, err := transport(out)
	if errors.Is(err, ErrNoServer) {
		return Frame{}, err
	}
	if err == nil {
		if reply, err = Decode(in); err == nil {
			return reply, nil
		}
	}
	link.lost = fmt.Errorf("the lab server has gone away (%w); restart the kernel and run the cells again", err)
	return Frame{}, link.lost
}
