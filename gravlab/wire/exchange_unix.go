//go:build unix

package wire

import (
	"errors"
	"fmt"
	"io"
	"os"
	"syscall"
)

// pipes tells the lab server where the notebook expects this program's displays.
func pipes(h *Head) {
	h.Pipe, h.PipeBack = os.Getenv("GONB_PIPE"), os.Getenv("GONB_PIPE_BACK")
}

// socket is a connected Unix socket, used with plain system calls: package net
// would bring a resolver and a poller into every cell.
type socket int

// bench is the connection, or -1 before the first exchange.
var bench = socket(-1)

// transport carries one encoded frame to the lab server and its reply back.
func transport(out []byte) ([]byte, error) {
	if bench < 0 {
		path := os.Getenv("GRAVLAB_SERVER")
		if path == "" {
			return nil, ErrNoServer
		}
		var err error
		if bench, err = dial(path); err != nil {
			return nil, fmt.Errorf("connecting to %s: %w", path, err)
		}
	}
	if err := bench.writeAll(out); err != nil {
		return nil, err
	}
	in := make([]byte, prefix, 4096)
	if err := bench.readFull(in); err != nil {
		return nil, err
	}
	_, _, _, n, err := lengths(in)
	if err != nil {
		return nil, err
	}
	in = append(in, make([]byte, n-prefix)...)
	return in, bench.readFull(in[prefix:])
}

func dial(path string) (socket, error) {
	// A program that starts others must not hand them the connection.
	syscall.ForkLock.RLock()
	fd, err := syscall.Socket(syscall.AF_UNIX, syscall.SOCK_STREAM, 0)
	if err == nil {
		syscall.CloseOnExec(fd)
	}
	syscall.ForkLock.RUnlock()
	if err != nil {
		return -1, err
	}
	for {
		err = syscall.Connect(fd, &syscall.SockaddrUnix{Name: path})
		if errors.Is(err, syscall.EINTR) {
			continue // the runtime's own signals interrupt system calls
		}
		if err != nil && !errors.Is(err, syscall.EISCONN) {
			syscall.Close(fd)
			return -1, err
		}
		return socket(fd), nil
	}
}

func (s socket) writeAll(b []byte) error {
	for len(b) > 0 {
		n, err := syscall.Write(int(s), b)
		if errors.Is(err, syscall.EINTR) {
			continue
		}
		if err != nil {
			return err
		}
		b = b[n:]
	}
	return nil
}

func (s socket) readFull(b []byte) error {
	for len(b) > 0 {
		n, err := syscall.Read(int(s), b)
		if errors.Is(err, syscall.EINTR) {
			continue
		}
		if err != nil {
			return err
		}
		if n == 0 {
			return io.ErrUnexpectedEOF
		}
		b = b[n:]
	}
	return nil
}
