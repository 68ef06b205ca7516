package sandbox

import (
	"bytes"
	"encoding/binary"
	"math"
	"testing"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"

	"gravity.example/gravlab/internal/native"
	"gravity.example/gravlab/wire"
)

// onePage is a program that has a page of memory, 64 KiB, and nothing else.
func onePage(t testing.TB) api.Module {
	t.Helper()
	r := wazero.NewRuntimeWithConfig(t.Context(), wazero.NewRuntimeConfigInterpreter())
	t.Cleanup(func() { r.Close(t.Context()) })
	m, err := r.Instantiate(t.Context(), []byte("\x00asm\x01\x00\x00\x00\x05\x03\x01\x00\x01"))
	if err != nil {
		t.Fatal(err)
	}
	return m
}

const page = 1 << 16

// The compiler lets no cell name the host's functions. If one could, it would hand them pointers
// and lengths of any kind: that is this test.
func TestHostFunctionsAttacked(t *testing.T) {
	m := onePage(t)
	h := &host{limits: Limits{Frames: 1e6}, exchange: func(b []byte) ([]byte, error) { return bytes.Repeat([]byte{7}, 100), nil }}
	h.begin(0)
	edges := []uint32{0, 1, 7, 8, 63, 64, 65, page - 9, page - 8, page - 1, page, page + 1, 1 << 20, wire.Max, wire.Max + 1,
		native.Max / 8, native.Max/8 + 1, 1 << 29, 1<<29 + 1, math.MaxInt32, math.MaxInt32 + 1, math.MaxUint32 - 7, math.MaxUint32}
	name := native.Names()[0]
	m.Memory().WriteString(8, name)
	ran := 0
	for _, p := range edges {
		for _, n := range edges {
			inside := uint64(p)+uint64(n) <= page
			if got := h.answer(m, p, n); (got == 100) != (inside && n <= wire.Max) {
				t.Errorf("exchange of %d bytes at %d: %d", n, p, got)
			}
			h.reply = bytes.Repeat([]byte{9}, 100)
			before, _ := m.Memory().Read(0, page)
			before = bytes.Clone(before)
			got := h.take(m, p, n)
			after, _ := m.Memory().Read(0, page)
			if ok := n <= 100 && inside; ok && got != n || !ok && (got != 0 || !bytes.Equal(before, after)) {
				t.Errorf("take of %d bytes at %d: %d", n, p, got)
			}
			m.Memory().Write(0, before)
			// Bytes of memory as a request, and as the name of a routine.
			if got := h.compute(m, 8, uint32(len(name)), p, n); got != 0 && (uint64(p)+8*uint64(n) > page || n > native.Max/8) {
				t.Errorf("compute on %d numbers at %d: %d", n, p, got)
			}
			if got := h.compute(m, p, n, 0, 1); got != 0 && (p != 8 || n != uint32(len(name))) {
				t.Errorf("a routine whose name has %d bytes at %d: %d", n, p, got)
			}
			ran++
		}
	}
	if ran != len(edges)*len(edges) {
		t.Error("not all was tried")
	}
}

// A program may change its memory after a call, and hand over the same memory as name and
// numbers: the host has its own copies.
func TestHostCopies(t *testing.T) {
	m := onePage(t)
	var got []byte
	h := &host{limits: Limits{Frames: 10}, exchange: func(b []byte) ([]byte, error) { got = b; return []byte("reply"), nil }}
	h.begin(0)
	m.Memory().WriteString(100, "frame")
	if n := h.answer(m, 100, 5); n != 5 {
		t.Fatal(n)
	}
	m.Memory().WriteString(100, "other")
	if string(got) != "frame" {
		t.Errorf("the frame became %q", got)
	}
	// The reply over the request, and a second time.
	for range 2 {
		if n := h.take(m, 100, 5); n != 5 {
			t.Fatal(n)
		}
		if b, _ := m.Memory().Read(100, 5); string(b) != "reply" {
			t.Errorf("%q", b)
		}
	}
	// Numbers which are the name of their routine too: no request, so nothing runs.
	name := native.Names()[0]
	m.Memory().WriteString(200, name)
	if n := h.compute(m, 200, uint32(len(name)), 200, 2); n != 0 {
		t.Errorf("%d numbers", n)
	}
	if n := h.take(m, 100, 1); n != 0 {
		t.Error("what an earlier call replied was given to a later one")
	}
}

// What one host function is handed, any other may be handed: whatever the bytes, nothing outside
// of a program's memory is read or written, and the process stays.
func FuzzHostFunctions(f *testing.F) {
	for _, n := range native.Names() {
		f.Add(uint32(0), uint32(len(n)), uint32(16), uint32(3), append([]byte(n), make([]byte, 64)...))
	}
	f.Add(uint32(page-1), uint32(2), uint32(math.MaxUint32), uint32(1<<29), []byte{1})
	m := onePage(f)
	f.Fuzz(func(t *testing.T, a, b, p, n uint32, memory []byte) {
		if len(memory) > page {
			return
		}
		m.Memory().Write(0, memory)
		h := &host{limits: Limits{Frames: 10}, exchange: func(b []byte) ([]byte, error) {
			f, err := wire.Decode(b)
			if err != nil {
				return nil, err
			}
			return f.Append(nil)
		}}
		h.begin(0)
		if length := h.compute(m, a, b, p, n); length > 0 {
			if uint64(length)*8 != uint64(len(h.reply)) || binary.LittleEndian.Uint64(h.reply) == 0 && length < 2 {
				t.Errorf("a reply of %d numbers with %d bytes", length, len(h.reply))
			}
		}
		h.take(m, p, n)
		func() {
			defer func() { // an error as reply is the end of the cell
				if p := recover(); p != nil && h.broken == nil {
					panic(p)
				}
			}()
			h.answer(m, p, n)
		}()
		h.take(m, a, b)
		if size := m.Memory().Size(); size != page {
			t.Errorf("%d bytes of memory", size)
		}
	})
}
