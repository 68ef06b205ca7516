// Package sandbox runs a notebook's cells confined, with the meaning that they
// have under the Go kernel (GoNB), and without one.
//
// Most callers need two calls: NewPool, and Pool.Run for a notebook or
// Pool.RunBox for one code box of the page.
//
// # Semantics
//
// Under GoNB every cell is a program of its own: the declarations of all cells so far,
// as they stand at that moment, and the cell's own main (what follows a line
// %%). Declarations carry over, values do not; a name declared again counts from
// then on; a cell that does not compile leaves no trace, one that fails at run
// time keeps its declarations. Package sandbox keeps all of that:
//
//   - Each cell is parsed and type-checked in turn against the declarations
//     before it, exactly as GoNB would compile it.
//   - Cells whose declarations only add to one another share one program, in
//     which each cell has a function. As a rule that is the whole notebook. Where a
//     cell declares again what an earlier one used, a new program begins.
//   - The program is compiled to WebAssembly and started once, up to the point where
//     the packages that it imports are initialised. The memory at that point is kept, and
//     put back before each cell: every cell starts in a fresh process as far
//     as it can tell, for a millisecond. So os.Exit, a panic in any goroutine, a
//     deadlock or an exhausted memory end the one cell, and variables are
//     initialised, and init functions run, anew in each.
//
// # Differences
//
// Lines that begin with ! and cells that are scripts (%%bash, %%writefile) are not run, and
// a remark says so; so do %cd, %test, %wasm and %capture. Packages outside the list of
// Packages cannot be imported. Comments that direct the compiler (//go:, //line, //export)
// have no effect. A cell that prints more than 1 MiB ends there (the kernel keeps 1 MiB and
// lets it run on). There are no files, no environment, no network; the clock starts at the
// same moment in each run, moves by a microsecond a reading, and a sleep takes no time;
// random numbers without a seed are the same in each run. Last digits may differ (no fused
// multiply-add, but for routines of ours that run outside: package native), and so may the bits
// inside what is not a number.
//
// # Confinement
//
// Everything that touches other people's code (reading the file, parsing, checking,
// compiling, linking, running) happens in a worker: this program, started again with a
// hidden argument. The caller's process never parses a notebook; it moves bytes, and
// answers frames. A worker does one notebook. One that passes a limit is killed and
// replaced. The cell at which it happened is left out, and the others are run by the next
// worker. See Limits.
//
// # The machine's own faults
//
// A limit is met only where it was measured: processor time, memory, what the compiler said
// about a cell. A run that ends for any other reason (no room for temporary files, a
// process that was ended from outside, memory that the system refused, a process that
// stands still) is a Fault. It is tried again from the start, three times in all, and if
// that does not help it is an error: there is no outcome then.
package sandbox

import (
	"time"
)

// Limits on what a notebook may use. Zero fields have the defaults named.
//
// Fixed besides: a file of 20 MB, 1,000 code cells with 1 MB of text in all; 256 MiB of
// memory for the program; 700 MiB for the worker around it; 80 programs, see above; for the
// compiler of each 6 s of processor time and 768 MiB; frames of 1 MiB. Time is processor
// time, so that a busy machine changes nothing.
type Limits struct {
	Cell   time.Duration // of one cell's run; 0: 10 s
	Sheet  time.Duration // in all, checking and compiling included; 0: 60 s
	Output int           // bytes that one cell prints; 0: 1 MiB
	Frames int           // frames that one cell exchanges; 0: 2,000
}

// Limit names what ended a cell or a notebook.
type Limit string

// The limits.
const (
	LimitNone     Limit = ""         // nothing was ended
	LimitTime     Limit = "time"     // Limits.Cell or Limits.Sheet
	LimitMemory   Limit = "memory"   // of the program, or of the worker around it
	LimitOutput   Limit = "output"   // Limits.Output
	LimitFrames   Limit = "frames"   // Limits.Frames
	LimitCompiler Limit = "compiler" // checking or compiling took too much time or memory
	LimitPrograms Limit = "programs" // cells declare things again too often
	LimitSize     Limit = "size"     // of the file, or of its code
)

// State says how a cell ended.
type State string

// The states.
const (
	Ran      State = "ran"       // to its end
	Failed   State = "failed"    // a panic, os.Exit with a code that is not 0, a deadlock
	NotBuilt State = "not built" // it does not parse or compile; it leaves no trace
	Refused  State = "refused"   // not Go, or something that may not be run here
	Ended    State = "ended"     // by a limit
	NotRun   State = "not run"   // the notebook had ended before, or it is a box above
)

// Cell is how one code cell went. Blank cells are left out.
type Cell struct {
	Index  int    // of the cell in the notebook, from 0
	State  State  //
	Limit  Limit  // with Ended
	Fault  string // with Failed: the last words of the program, one line
	Line   int    // with Failed: where in the cell that was, from 1; 0: not known
	Output string // what it printed, both streams, without the stack of a panic; valid UTF-8. At most 1 MiB of all cells is kept
	Frames int    // how many it exchanged
}

// Remark is something that a person should know.
type Remark struct {
	Cell int // number of the cell as people count, from 1; 0: the whole notebook
	Line int // in the cell, from 1; 0: all of it
	Text string
	Ends bool // it says how the cell ended, in the words of a remark
}

// Sheet is what a notebook says about itself. It comes from the notebook's
// author: nothing in it is more than a claim.
type Sheet struct {
	Lab, Code string // as declared, at most 100 bytes each; empty if there is no declaration
	Assessed  bool   // declared with ask.Assessed
	Twice     bool   // there is another declaration with another lab or code
	Cells     int    // of all kinds
	CodeCells int    // that are not blank
	Answers   []AnswerCell
}

// AnswerCell is a cell that the bank made for an answer.
type AnswerCell struct {
	Index    int    // of the cell in the notebook, from 0
	Question string // "01/kappa", as the cell's metadata says; at most 100 bytes
}

// Times are how long the steps took. Those of workers that were killed count.
type Times struct {
	Merge       time.Duration // read, parse, check, compose
	Compile     time.Duration // compiler
	Link        time.Duration // linker
	Instantiate time.Duration // load and start the module, in either engine
	Run         time.Duration // the cells
	Exchange    time.Duration // of Run: waiting for replies
	Processor   time.Duration // processor time of the workers and their compilers
	Programs    int           // how many were built
	Compiled    bool          // the run outgrew the interpreter
}

// Outcome is how a notebook or a box went.
type Outcome struct {
	Sheet   Sheet
	Cells   []Cell
	Remarks []Remark
	// Ended is the first limit that ended a cell or the notebook.
	Ended Limit
	// Unread says why the file is not a notebook; nothing was run then.
	Unread string
	Times  Times
}

// Job is one notebook to run.
type Job struct {
	Notebook []byte // the file
	// Seed is the source of random numbers: a run with the same seed is the same.
	Seed uint64
	// Exchange answers a frame (package wire), as labserver.Session.Exchange does. It is called
	// from one goroutine at a time. nil: no frame is accepted.
	Exchange func(frame []byte) []byte
	// Output is told what a cell prints, as it comes; may be nil. The text may be
	// cut anywhere.
	Output func(cell int, text []byte)
	Limits Limits
	// Session, if not nil, gives Exchange and is called once the notebook has been
	// read, with what it says about itself, before anything is run. An error ends
	// the job with that error. After a Fault it is called again, and what was exchanged
	// before does not count. Without a Session a run that has exchanged frames or told Output
	// something is not tried again.
	Session func(Sheet) (func(frame []byte) []byte, error)
	// Supply, if not nil, says before the run what its program may ask for, so that it can be run
	// away from here (see Errand); ok is false if that cannot be told.
	Supply func() (s Supply, ok bool)

	watch func(used time.Duration) Next // see Box.Watch
	hold  <-chan struct{}               // see Box.Hold
}

// Box is one code box of the page.
type Box struct {
	Above  []string // sources of the boxes above: their declarations count, nothing of them is run
	Source string
	// The rest is as in Job.
	Seed     uint64
	Exchange func(frame []byte) []byte
	Output   func(text []byte)
	Limits   Limits
	Slow     bool // do not use a second core
	// Hold, if not nil, has the box built and kept, with nothing of it run, until it is closed.
	// Until then it takes no place from other jobs.
	Hold <-chan struct{}
	// Watch, if not nil, is asked again and again, with the processor time that the box has used so
	// far, what is to become of it: that may depend on who else waits.
	Watch func(used time.Duration) Next
}

// Next is what is to become of a box that runs.
type Next int

// What may become of it.
const (
	Continue Next = iota
	Pause         // it stands still, with its compilers, until it may go on; see CanPause
	End           // it is ended by LimitTime
)
