package sandbox

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
)

// Parent and worker speak over the worker's standard input and output: a byte
// that says what it is, a little-endian uint32 length, and that many bytes. The
// worker runs other people's code, so the parent believes nothing of it but its
// form.
const (
	// From the parent.
	msgSetup = 's' // setup, JSON: the first message
	msgJob   = 'j' // job, JSON
	msgFile  = 'f' // the notebook's bytes; follows msgJob
	msgReply = 'r' // reply to a frame
	// From the worker.
	msgReady  = 'R' // ready for a job
	msgSheet  = 'S' // Sheet, JSON; answered by a msgReply: empty or replyStop
	msgStage  = 'G' // stage, JSON: what is about to be done
	msgRemark = 'K' // Remark, JSON
	msgCell   = 'C' // Cell, JSON: it is over
	msgOutput = 'O' // what the cell in hand prints
	msgFrame  = 'X' // a frame; answered by msgReply
	msgHeld   = 'H' // the box is built and waits; answered by msgReply once it may run
	msgUsed   = 'U' // processor time in nanoseconds, little-endian uint64: what the job's compilers and linkers have used so far
	msgFault  = 'F' // faultOfJob, JSON: the job is over, and nothing of it counts
	msgDone   = 'D' // done, JSON: the job is over
)

// replyStop ends the job.
const replyStop = "stop"

// maxMessage bounds what the parent reads in one piece.
const maxMessage = 4 << 20

// setup tells a worker about the packages.
type setup struct {
	Compile, Link string // the tools
	Dir           string // a folder for its files
	Packages      []pkg
	ImportConfig  string // file: the allowed packages
	LinkConfig    string // file: all
	// Still is after how many looks without any progress a process is held to stand still.
	Still int
}

// pkg is a package that cells may import.
type pkg struct {
	Path, Name, Export string
}

// job is what the worker is to do.
type job struct {
	Cells    []string // sources of a box; nil: a file follows
	LookOnly bool     // read the file and say what it is
	Last     bool     // run the last cell only
	Seed     uint64
	Limits   Limits
	// Fast compiles the program on another core as soon as it has been interpreted for as
	// long as it took to load, and takes over when that is done: a thin one has ended by
	// then. So it is for a box, for which somebody waits.
	Fast  bool
	Eager bool // compile it from the start
	// Held has the worker ask before anything of the program runs.
	Held bool
	// Believe is what a crash said that has happened before: it is the notebook's doing.
	Believe string
	// Skip holds cells that an earlier worker met a limit in, by index: they leave no trace.
	Skip map[int]bool
	// Over holds cells that are not to be run (again): they ran, or were ended while running.
	Over map[int]bool
}

// stage is what the worker is about to do: the parent knows from it which limit
// applies, and what was met if the worker dies.
type stage struct {
	What string // stageRead, ...
	Cell int    // index of the cell in hand
}

const (
	stageRead  = "read"
	stageCheck = "check"
	stageBuild = "build"
	stageHeld  = "held"
	stageStart = "start"
	stageRun   = "run"
	stageEnd   = "end"
)

// faultOfJob is a Fault on its way to the parent.
type faultOfJob struct {
	What, Do string
	Crash    bool
}

// done ends a job.
type done struct {
	Unread string
	Ended  Limit // of the whole notebook
	Times  Times
}

func send(w io.Writer, kind byte, body []byte) error {
	head := make([]byte, 5, 5+len(body))
	head[0] = kind
	binary.LittleEndian.PutUint32(head[1:], uint32(len(body)))
	_, err := w.Write(append(head, body...))
	return err
}

func sendJSON(w io.Writer, kind byte, v any) error {
	body, err := json.Marshal(v)
	if err != nil {
		return err
	}
	return send(w, kind, body)
}

// receive reads a message of at most limit bytes.
func receive(r io.Reader, limit int) (kind byte, body []byte, err error) {
	var head [5]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return 0, nil, err
	}
	n := binary.LittleEndian.Uint32(head[1:])
	if uint64(n) > uint64(limit) {
		return 0, nil, fmt.Errorf("a message of %d bytes", n)
	}
	body = make([]byte, n)
	_, err = io.ReadFull(r, body)
	return head[0], body, err
}
