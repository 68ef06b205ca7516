// Package wire holds the messages that travel between a student's program
// and the lab server that judges it, and the connection that carries them.
//
// A frame has three parts: a head of named fields; numbers, raw
// little-endian float64 (JSON has no NaN, and 20,000 numbers as JSON take 1.5 s
// in a confined program, raw ones 0.03 s); and data, raw bytes such as an image.
// On the wire stand three lengths, little-endian uint32 (bytes of the head,
// count of numbers, bytes of data), then the three parts. No frame is longer
// than Max.
//
// The program always asks and the lab server always replies with exactly one frame;
// the lab server never speaks first. Two transports carry that exchange: a Unix
// socket, whose path is in the environment variable GRAVLAB_SERVER, and for a
// program confined to WebAssembly two functions of its host. Package ask and
// package show share the one connection of Exchange.
//
// The package imports the standard library only, and none of net, encoding/gob and
// encoding/json: every cell of a notebook is linked with it, and the first two would
// make that link slower by a third.
package wire

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Max is the most bytes that a frame may have on the wire, lengths included.
const Max = 1 << 20

// prefix is the size of the three lengths.
const prefix = 12

// ErrTooLong says that a frame is longer than Max.
var ErrTooLong = errors.New("the frame is longer than 1 MiB")

// A Frame is one message.
type Frame struct {
	Head
	Numbers []float64
	Data    []byte
}

// Append appends the frame's bytes to dst.
func (f Frame) Append(dst []byte) ([]byte, error) {
	head := f.append(nil)
	n := prefix + len(head) + 8*len(f.Numbers) + len(f.Data)
	if n > Max {
		return dst, fmt.Errorf("frame %q of %d bytes: %w", f.Kind, n, ErrTooLong)
	}
	if cap(dst)-len(dst) < n {
		dst = append(make([]byte, 0, len(dst)+n), dst...)
	}
	dst = binary.LittleEndian.AppendUint32(dst, uint32(len(head)))
	dst = binary.LittleEndian.AppendUint32(dst, uint32(len(f.Numbers)))
	dst = binary.LittleEndian.AppendUint32(dst, uint32(len(f.Data)))
	dst = append(dst, head...)
	return append(appendNumbers(dst, f.Numbers), f.Data...), nil
}

// lengths reads and checks the three lengths; n is that of the whole frame.
func lengths(b []byte) (head, numbers, data, n int, err error) {
	h := uint64(binary.LittleEndian.Uint32(b[0:]))
	c := uint64(binary.LittleEndian.Uint32(b[4:]))
	d := uint64(binary.LittleEndian.Uint32(b[8:]))
	total := prefix + h + 8*c + d // at most 12·2³², far from overflow
	if total > Max {
		return 0, 0, 0, 0, fmt.Errorf("a frame of %d bytes: %w", total, ErrTooLong)
	}
	return int(h), int(c), int(d), int(total), nil
}

// Decode reads a frame that fills b to the last byte. The frame shares no
// memory with b.
func Decode(b []byte) (Frame, error) {
	var f Frame
	if len(b) < prefix {
		return f, fmt.Errorf("a frame of %d bytes is shorter than its lengths", len(b))
	}
	head, numbers, data, n, err := lengths(b)
	if err != nil {
		return f, err
	}
	if n != len(b) {
		return f, fmt.Errorf("a frame of %d bytes says that it has %d", len(b), n)
	}
	b = b[prefix:]
	if err := f.decode(b[:head]); err != nil {
		return Frame{}, err
	}
	b = b[head:]
	if numbers > 0 {
		f.Numbers = make([]float64, numbers)
		copyNumbers(f.Numbers, b)
	}
	if data > 0 {
		f.Data = append([]byte(nil), b[8*numbers:]...)
	}
	return f, nil
}

// Read reads one frame from a stream. It gives io.EOF if the stream ends before
// the frame begins, and io.ErrUnexpectedEOF if it ends inside.
func Read(r io.Reader) (Frame, error) {
	var start [prefix]byte
	if _, err := io.ReadFull(r, start[:]); err != nil {
		return Frame{}, err
	}
	_, _, _, n, err := lengths(start[:])
	if err != nil {
		return Frame{}, err
	}
	// The sender may claim a length and stop: memory grows with what arrives.
	b := append(make([]byte, 0, min(n, 64<<10)), start[:]...)
	for len(b) < n {
		k := min(n-len(b), 64<<10)
		at := len(b)
		b = append(b, make([]byte, k)...)
		if _, err := io.ReadFull(r, b[at:]); err != nil {
			if err == io.EOF {
				err = io.ErrUnexpectedEOF
			}
			return Frame{}, err
		}
	}
	return Decode(b)
}

// Write writes one frame to a stream.
func Write(w io.Writer, f Frame) error {
	b, err := f.Append(nil)
	if err != nil {
		return err
	}
	_, err = w.Write(b)
	return err
}
