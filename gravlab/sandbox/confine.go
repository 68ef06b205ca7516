package sandbox

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"
	wasi "github.com/tetratelabs/wazero/imports/wasi_snapshot_preview1"
	"github.com/tetratelabs/wazero/sys"

	_ "gravity.example/gravlab/buried" // its routines, as the others'
	_ "gravity.example/gravlab/earth"
	_ "gravity.example/gravlab/fit"
	"gravity.example/gravlab/internal/native"
	"gravity.example/gravlab/internal/panictext"
	_ "gravity.example/gravlab/pendulum"
	_ "gravity.example/gravlab/signal"
	_ "gravity.example/gravlab/survey"
	_ "gravity.example/gravlab/torsion"
	"gravity.example/gravlab/wire"
)

const (
	// programMemory is how much memory a program may have.
	programMemory = 256 << 20
	// maxGrown is how much larger than at its start a program's memory may be and still
	// be put back to its start; beyond, a new instance is made.
	maxGrown = 32 << 20
	// clockStart is when every run begins: the first instant of 2025, UTC.
	clockStart = 1735689600 * int64(time.Second)
	// maxTurns bounds what is remembered of a run that may be dropped.
	maxTurns = 64 << 20
)

// A host is the world as a confined program sees it: a clock, random numbers, two streams
// to print to, and the exchange of frames.
type host struct {
	limits   Limits
	exchange func(frame []byte) ([]byte, error)
	print    func(text []byte)

	cell    int
	seed    uint64
	frames  int // of this cell
	reply   []byte
	ended   Limit // set when the cell is being ended
	broken  error // the parent is gone
	printed int   // by this cell
	errors  *panictext.Stream
	waited  time.Duration
	pause   func(bool) // told when the program begins and ends to wait for a reply

	clock  int64
	random *rand.ChaCha8

	// A run that was dropped is run again from its start: what it has done
	// already is not done again.
	keep  bool // this run may be dropped
	turns []turn
	kept  int
	full  bool // no more turns can be kept: the run is dropped
	at    int  // of the turns, in the second run
	said  int  // bytes printed by the dropped run
}

// turn is a frame and its reply.
type turn struct{ out, in []byte }

// begin starts the world for a cell.
func (h *host) begin(cell int) {
	h.cell, h.ended = cell, LimitNone
	h.printed, h.frames, h.said = 0, 0, 0
	h.turns, h.kept, h.at, h.full = nil, 0, 0, false
	h.reset()
}

// again starts it for the second run of a cell.
func (h *host) again() {
	h.said, h.printed, h.at, h.ended, h.full = max(h.printed, h.said), 0, 0, LimitNone, false
	h.reset()
}

func (h *host) reset() {
	h.errors = &panictext.Stream{Pass: h.show}
	h.reply = nil
	h.clock = clockStart
	var seed [32]byte
	binary.LittleEndian.PutUint64(seed[:], h.seed)
	binary.LittleEndian.PutUint64(seed[8:], uint64(h.cell))
	h.random = rand.NewChaCha8(seed)
}

// stop ends the cell at once.
func (h *host) stop(why Limit) {
	h.ended = why
	panic(sys.NewExitError(math.MaxUint32 - 100))
}

// Read gives random bytes.
func (h *host) Read(b []byte) (int, error) { return h.random.Read(b) }

func (h *host) tick() int64 {
	h.clock += 1000
	return h.clock
}

func (h *host) sleep(ns int64) {
	if ns > 0 {
		h.clock = min(h.clock, math.MaxInt64/2) + min(ns, math.MaxInt64/2)
	}
}

// stream is one of the two that a program prints to.
type stream struct {
	host     *host
	isErrors bool
}

func (s stream) Write(b []byte) (int, error) {
	h := s.host
	if !s.isErrors {
		h.show(b)
	} else if h.errors.Write(b); h.errors.Held() > h.limits.Output {
		h.ended = LimitOutput
	}
	if h.ended != LimitNone {
		h.stop(h.ended)
	}
	return len(b), nil
}

// show prints up to the limit, and notes when it is passed.
func (h *host) show(b []byte) {
	from := h.printed
	h.printed += len(b)
	over := h.printed > h.limits.Output
	shown := b
	if over {
		shown = b[:max(0, h.limits.Output-from)]
	}
	if skip := h.said - from; skip > 0 {
		shown = shown[min(skip, len(shown)):]
	}
	if len(shown) > 0 {
		h.print(shown)
	}
	if over {
		h.ended = LimitOutput
	}
}

// answer is the host's function exchange.
func (h *host) answer(m api.Module, p, n uint32) uint32 {
	h.reply = nil
	if n > wire.Max {
		return 0
	}
	view, ok := m.Memory().Read(p, n)
	if !ok {
		return 0
	}
	if h.at < len(h.turns) {
		t := h.turns[h.at]
		if bytes.Equal(t.out, view) {
			h.at++
			h.reply = t.in
			return uint32(len(h.reply))
		}
		h.turns = h.turns[:h.at] // both runs are the same, so this does not happen
	}
	if h.full = h.keep && h.kept >= maxTurns; h.full {
		h.stop(LimitNone)
	}
	if h.frames++; h.frames > h.limits.Frames {
		h.stop(LimitFrames)
	}
	out := bytes.Clone(view)
	if h.pause != nil {
		h.pause(true)
	}
	begun := time.Now()
	reply, err := h.exchange(out)
	h.waited += time.Since(begun)
	if h.pause != nil {
		h.pause(false)
	}
	if err != nil {
		h.broken = err
		h.stop(LimitNone)
	}
	if h.keep {
		h.turns = append(h.turns, turn{out, reply})
		h.at = len(h.turns)
		h.kept += len(out) + len(reply)
	}
	h.reply = reply
	return uint32(len(reply))
}

// take is the host's function take.
func (h *host) take(m api.Module, p, n uint32) uint32 {
	if uint64(n) > uint64(len(h.reply)) || !m.Memory().Write(p, h.reply[:n]) {
		return 0
	}
	return n
}

// compute is the host's function compute: it runs a routine of ours outside of the program,
// on copies of its numbers. What that takes counts for the cell like what the program does
// itself, but not for the patience with the interpreter.
func (h *host) compute(m api.Module, name, length, p, n uint32) uint32 {
	h.reply = nil
	if n > native.Max/8 || length > 64 {
		return 0
	}
	called, ok := m.Memory().Read(name, length)
	if !ok {
		return 0
	}
	request, ok := m.Memory().Read(p, 8*n)
	if !ok {
		return 0
	}
	if h.pause != nil {
		h.pause(true)
		defer h.pause(false)
	}
	h.reply, _ = native.Run(string(called), request)
	return uint32(len(h.reply) / 8)
}

// A linear is the memory of a program, outside of Go's own.
type linear struct {
	buf     []byte
	refused *bool
}

func (l *linear) Reallocate(n uint64) []byte {
	if n > uint64(len(l.buf)) {
		*l.refused = true
		return nil
	}
	return l.buf[:n:n]
}

func (l *linear) Free() {
	release(l.buf)
	l.buf = nil
}

// A machine is a program loaded into one of wazero's engines.
type machine struct {
	host     *host
	ctx      context.Context
	runtime  wazero.Runtime
	compiled wazero.CompiledModule
	instance api.Module
	room     []byte // for the memory of the next instance
	refused  bool   // more memory than that

	memory    []byte   // at the start of a cell
	registers []uint64 // then
}

// errNoMemory says that the program needs more memory than there is before anything is run.
var errNoMemory = errors.New("the program is larger than the memory that there is")

// newMachine loads a module. In the interpreter a run can be ended by its context; compiled
// code cannot: there the check costs six to twelve times the speed, and the end of the
// process is the deadline.
func newMachine(h *host, module []byte, compiler bool, workers int) (*machine, error) {
	m := &machine{host: h}
	m.ctx = experimental.WithMemoryAllocator(context.Background(), experimental.MemoryAllocatorFunc(func(_, _ uint64) experimental.LinearMemory {
		buf := m.room
		m.room = nil
		return &linear{buf: buf, refused: &m.refused}
	}))
	m.ctx = experimental.WithCompilationWorkers(m.ctx, workers)
	config := wazero.NewRuntimeConfigInterpreter().WithCloseOnContextDone(true)
	if compiler {
		config = wazero.NewRuntimeConfigCompiler()
	}
	// The allocator is the limit: it is asked, and so it knows of a refusal.
	m.runtime = wazero.NewRuntimeWithConfig(m.ctx, config.WithMemoryCapacityFromMax(true).WithDebugInfoEnabled(false))
	if err := m.load(module); err != nil {
		m.close()
		return nil, err
	}
	return m, nil
}

func (m *machine) load(module []byte) error {
	h := m.host
	system := m.runtime.NewHostModuleBuilder(wasi.ModuleName)
	wasi.NewFunctionExporter().ExportFunctions(system)
	// The program's end leaves the instance as it is: it is put back to its start.
	system.NewFunctionBuilder().WithFunc(func(code uint32) { panic(sys.NewExitError(code)) }).Export("proc_exit")
	// The two streams stay open for the cells after one that closes them: what is closed for this one
	// Go itself remembers, in the program's memory. There are no other files.
	system.NewFunctionBuilder().WithFunc(func(fd uint32) uint32 {
		if fd > 2 {
			return badFile
		}
		return 0
	}).Export("fd_close")
	if _, err := system.Instantiate(m.ctx); err != nil {
		return err
	}
	_, err := m.runtime.NewHostModuleBuilder("gravlab").
		NewFunctionBuilder().WithFunc(func(_ context.Context, mod api.Module, p, n uint32) uint32 { return h.answer(mod, p, n) }).Export("exchange").
		NewFunctionBuilder().WithFunc(func(_ context.Context, mod api.Module, p, n uint32) uint32 { return h.take(mod, p, n) }).Export("take").
		NewFunctionBuilder().WithFunc(func(_ context.Context, mod api.Module, name, length, p, n uint32) uint32 {
		return h.compute(mod, name, length, p, n)
	}).Export("compute").
		Instantiate(m.ctx)
	if err != nil {
		return err
	}
	m.compiled, err = m.runtime.CompileModule(m.ctx, module)
	if err != nil && strings.Contains(err.Error(), " over limit of ") {
		return errNoMemory
	}
	if err != nil {
		return &Fault{What: "a program could not be loaded (" + clip(err.Error(), 300) + ")", Do: "please report it", crash: true}
	}
	return nil
}

// badFile is the error number of a file that is not open. Source: WASI snapshot preview 1, errno.
const badFile = 8

// start makes an instance and keeps its state as it is before any cell. What
// packages do when they are initialised belongs to no cell.
func (m *machine) start() error {
	if m.instance != nil {
		m.instance.Close(m.ctx)
	}
	h := m.host
	h.begin(-1)
	m.refused = false
	if m.room = reserve(programMemory); m.room == nil {
		return refusedFault("a worker")
	}
	config := wazero.NewModuleConfig().WithName("").WithStartFunctions("_initialize").WithArgs("cell").
		WithStdin(strings.NewReader("")).WithStdout(stream{h, false}).WithStderr(stream{h, true}).
		WithNanotime(h.tick, 1).WithWalltime(func() (int64, int32) {
		t := h.tick()
		return t / 1e9, int32(t % 1e9)
	}, 1).WithNanosleep(h.sleep).WithRandSource(io.Reader(h))
	var err error
	if m.instance, err = m.runtime.InstantiateModule(m.ctx, m.compiled, config); err != nil {
		release(m.room)
		if m.refused {
			return errNoMemory
		}
		return err
	}
	all, ok := m.instance.Memory().Read(0, m.instance.Memory().Size())
	if !ok || m.instance.ExportedFunction(export) == nil {
		return errors.New("the linked program is not of the expected form")
	}
	m.memory = append(m.memory[:0], all...)
	m.registers = m.registers[:0]
	for i := 0; ; i++ {
		g := m.instance.ExportedGlobal(globalName(i))
		if g == nil {
			return nil
		}
		m.registers = append(m.registers, g.Get())
	}
}

// restore puts the instance back to the state before any cell.
func (m *machine) restore() error {
	mem := m.instance.Memory()
	if int(mem.Size())-len(m.memory) > maxGrown {
		return m.start() // its memory cannot shrink
	}
	all, ok := mem.Read(0, mem.Size())
	if !ok {
		return errors.New("the program's memory cannot be read")
	}
	copy(all, m.memory)
	clear(all[len(m.memory):])
	for i, v := range m.registers {
		g, ok := m.instance.ExportedGlobal(globalName(i)).(api.MutableGlobal)
		if !ok {
			if m.instance.ExportedGlobal(globalName(i)).Get() != v {
				return errors.New("the program's registers cannot be set")
			}
			continue
		}
		g.Set(v)
	}
	return nil
}

// run runs a cell. ctx ends it in the interpreter only; the machine is of no use afterwards then.
func (m *machine) run(ctx context.Context, cell int) error {
	m.refused = false
	_, err := m.instance.ExportedFunction(export).Call(ctx, uint64(uint32(cell)))
	return err
}

func (m *machine) close() {
	if m != nil && m.runtime != nil {
		m.runtime.Close(m.ctx)
	}
}

// tooDeep says that an engine's own stack was too short for a program's calls.
func tooDeep(err error) bool { return err != nil && strings.Contains(err.Error(), "stack overflow") }

// verdict says how a run that ended with err went. It may print the end of what
// the program has printed.
func (m *machine) verdict(err error) (state State, limit Limit, fault string, line int) {
	h := m.host
	var exit *sys.ExitError
	failed := err != nil && !(errors.As(err, &exit) && exit.ExitCode() == 0)
	h.errors.End(failed)
	last := h.errors.String()
	switch {
	case failed && m.refused: // what Go prints then may pass the limit on output
		return Ended, LimitMemory, "", 0
	case h.ended != LimitNone:
		return Ended, h.ended, "", 0
	case !failed:
		return Ran, LimitNone, "", 0
	case strings.Contains(last, "goroutine stack exceeds") || tooDeep(err):
		return Ended, LimitMemory, "", 0
	}
	fault = "the program broke off"
	if exit != nil {
		fault = fmt.Sprintf("the cell's program ended with exit status %d", exit.ExitCode())
	}
	if reason := panictext.Reason(last); reason != "" {
		fault = reason
	}
	// The innermost line of the cell itself: what it called may be another's.
	own := regexp.MustCompile(fmt.Sprintf(`\t%s:([0-9]+)`, regexp.QuoteMeta(fileName(h.cell))))
	if at := own.FindStringSubmatch(last); at != nil {
		line, _ = strconv.Atoi(at[1])
	}
	return Failed, LimitNone, clip(fault, 300), line
}
