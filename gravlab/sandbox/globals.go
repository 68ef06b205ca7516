package sandbox

import (
	"errors"
	"strconv"
)

// A module made by Go's linker does not export its globals, which are the
// registers of Go on WebAssembly: stack pointer, goroutine and so on. To put a program back to an
// earlier state they have to be set as well as the memory, so exports are added to the module's
// bytes.
// Source: WebAssembly Core Specification 2.0, section 5.5, binary format of modules.

const (
	sectionGlobal = 6
	sectionExport = 7
	exportGlobal  = 3
)

func globalName(i int) string { return "global " + strconv.Itoa(i) }

// exportGlobals returns the module with its globals exported. All of them are its own: Go
// imports none.
func exportGlobals(wasm []byte) ([]byte, error) {
	errForm := errors.New("the linker's output is not a module")
	if len(wasm) < 8 || string(wasm[:4]) != "\x00asm" {
		return nil, errForm
	}
	out := append(make([]byte, 0, len(wasm)+200), wasm[:8]...)
	globals := 0
	for at := 8; at < len(wasm); {
		size, n := uleb(wasm[at+1:])
		from := at + 1 + n
		to := from + size
		if n == 0 || to > len(wasm) {
			return nil, errForm
		}
		body := wasm[from:to]
		switch wasm[at] {
		case sectionGlobal:
			globals, _ = uleb(body)
		case sectionExport:
			count, n := uleb(body)
			exports := appendUleb(nil, count+globals)
			exports = append(exports, body[n:]...)
			for i := range globals {
				name := globalName(i)
				exports = appendUleb(exports, len(name))
				exports = append(exports, name...)
				exports = append(exports, exportGlobal)
				exports = appendUleb(exports, i)
			}
			out = appendUleb(append(out, sectionExport), len(exports))
			out = append(out, exports...)
			at = to
			continue
		}
		out = append(out, wasm[at:to]...)
		at = to
	}
	if globals == 0 {
		return nil, errForm
	}
	return out, nil
}

// uleb reads an unsigned number in LEB128; n is 0 if there is none.
func uleb(b []byte) (v, n int) {
	for shift := 0; n < len(b) && shift < 35; shift += 7 {
		v |= int(b[n]&0x7f) << shift
		n++
		if b[n-1] < 0x80 {
			return v, n
		}
	}
	return 0, 0
}

func appendUleb(b []byte, v int) []byte {
	for ; v >= 0x80; v >>= 7 {
		b = append(b, byte(v)|0x80)
	}
	return append(b, byte(v))
}
