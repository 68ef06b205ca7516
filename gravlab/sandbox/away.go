package sandbox

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/gob"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"
	"strconv"
	"strings"

	"gravity.example/gravlab/wire"
)

// A Supply holds what a program may ask for during a run that is away from the process which
// answers its frames: recordings, files, the calls of functions. It need not be complete, and
// nothing rests on it: see Job.Accept.
type Supply struct {
	replies map[string][]byte
	tokens  []string // of the calls of functions, in order
}

// NewSupply asks what answers the frames of a job for all that questions name, and keeps the
// replies. A question whose reply is a part of a recording or a file is asked on to the end.
// Functions are asked for again and again, since each reply has a token of its own; exchange
// must not have answered anything before.
func NewSupply(exchange func(frame []byte) []byte, questions []wire.Frame) (Supply, error) {
	s := Supply{replies: map[string][]byte{}}
	ask := func(f wire.Frame) (wire.Frame, error) {
		in, err := f.Append(nil)
		if err != nil {
			return wire.Frame{}, err
		}
		return wire.Decode(exchange(in))
	}
	var functions []wire.Frame
	for _, f := range questions {
		if f.Kind == wire.Function {
			functions = append(functions, f)
			continue
		}
		for {
			reply, err := ask(f)
			if err != nil {
				return s, err
			}
			if s.replies[keyOf(f)], err = reply.Append(nil); err != nil {
				return s, err
			}
			step := len(reply.Numbers) + len(reply.Data)
			f.At = reply.At + step
			if step == 0 || f.At >= reply.Total {
				break
			}
		}
	}
	for len(functions) > 0 && len(s.tokens) < mostTokens {
		for _, f := range functions {
			reply, err := ask(f)
			if err != nil {
				return s, err
			}
			if reply.Kind != wire.Calls {
				return s, fmt.Errorf("the lab server names no calls of %s", f.Question)
			}
			s.tokens, reply.Token = append(s.tokens, reply.Token), ""
			if s.replies[keyOf(f)], err = reply.Append(nil); err != nil {
				return s, err
			}
		}
	}
	return s, nil
}

// mostTokens is how many functions a program away from here may submit, submitted again included.
const mostTokens = 64

// keyOf names what a frame asks for.
func keyOf(f wire.Frame) string {
	parts := []string{string(f.Kind), f.Lab, f.Code, f.Name, f.Question, f.Signature, strconv.Itoa(f.At)}
	if f.Kind == wire.File { // lies beside the notebook, whatever sheet that is
		parts[1], parts[2] = "", ""
	}
	return strings.Join(parts, "\x00")
}

// An Errand is a job or a box as bytes: all that is needed to run it elsewhere.
type Errand struct {
	Notebook []byte
	Cells    []string // of a box, in place of a notebook: those above it, and the box
	Slow     bool     // of a box, as in Box
	Seed     uint64
	Limits   Limits
	Replies  map[string][]byte
	Tokens   []string
}

// Errand makes an errand of a job. ok is false if the job has no Supply, or it cannot be told:
// then it has to be run here.
func (j Job) Errand() (e Errand, ok bool) {
	if j.Supply == nil || j.Session == nil || j.Output != nil || j.watch != nil {
		return e, false
	}
	s, ok := j.Supply()
	return Errand{Notebook: j.Notebook, Seed: j.Seed, Limits: j.Limits, Replies: s.replies, Tokens: s.tokens}, ok
}

// Errand makes an errand of a box, with a supply of what it may ask for. What it says to Watch and
// Hold is lost: a box that is away cannot be paused.
func (b Box) Errand(s Supply) Errand {
	return Errand{Cells: append(slices.Clone(b.Above), b.Source), Slow: b.Slow, Seed: b.Seed, Limits: b.Limits, Replies: s.replies, Tokens: s.tokens}
}

// A Return is what comes back from an errand.
type Return struct {
	Outcome Outcome  // without what cells printed: where a limit cuts that differs from run to run
	Frames  [][]byte // that the program sent, in order
	Replies [sha256.Size]byte
	Told    []Told // of a box, in the order of Frames and one more at the end
	Lacks   string // what the program asked for and the errand did not have; nothing else counts then
}

// Told is what a box printed before it sent a frame, and a hash of the reply to that.
type Told struct {
	Printed []byte
	Reply   uint64
}

func hashOf(reply []byte) uint64 {
	h := fnv.New64a()
	h.Write(reply)
	return h.Sum64()
}

// Same reports whether two returns of one errand say the same; times may differ.
func (r Return) Same(other Return) bool {
	r.Outcome.Times, other.Outcome.Times = Times{}, Times{}
	a, errA := Encode(r)
	b, errB := Encode(other)
	return errA == nil && errB == nil && bytes.Equal(a, b)
}

// Encode makes bytes of an errand or a return, and Decode reads them.
func Encode[T Errand | Return](v T) ([]byte, error) {
	var b bytes.Buffer
	err := gob.NewEncoder(&b).Encode(v)
	return b.Bytes(), err
}

// Decode reads what Encode wrote.
func Decode[T Errand | Return](text []byte) (v T, err error) {
	err = gob.NewDecoder(bytes.NewReader(text)).Decode(&v)
	return v, err
}

// mostCarried is how many bytes of frames an errand brings back.
const mostCarried = 32 << 20

var errLacks = errors.New("the errand lacks a reply")

// RunErrand runs an errand. An error is as in Run.
func (p *Pool) RunErrand(ctx context.Context, e Errand) (Return, error) {
	var r Return
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	said, tokens := sha256.New(), e.Tokens
	carried := 0
	lacks := func(what string) []byte {
		r.Lacks = what
		stop(errLacks)
		reply, _ := wire.Frame{Head: wire.Head{Kind: wire.Refused, Text: "this run is away from its lab server"}}.Append(nil)
		return reply
	}
	exchange := func(in []byte) []byte {
		f, err := wire.Decode(in)
		if err != nil {
			return lacks("a reply to what is no frame")
		}
		if carried += len(in); carried > mostCarried {
			return lacks(fmt.Sprintf("room for more than %d MB of frames", mostCarried>>20))
		}
		var reply []byte
		switch f.Kind {
		case wire.Recording, wire.File, wire.Function:
			known, ok := e.Replies[keyOf(f)]
			if !ok {
				return lacks(fmt.Sprintf("a reply to %q about %.60q", f.Kind, f.Name+f.Question))
			}
			if reply = known; f.Kind == wire.Function {
				if len(tokens) == 0 {
					return lacks("calls for one more function")
				}
				calls, err := wire.Decode(known)
				if err == nil {
					calls.Token, tokens = tokens[0], tokens[1:]
					reply, err = calls.Append(nil)
				}
				if err != nil {
					return lacks("calls that can be read")
				}
			}
		default: // a confined program is told that it was received, and no more
			reply, _ = wire.Frame{Head: wire.Head{Kind: wire.Recorded}}.Append(nil)
		}
		r.Frames = append(r.Frames, bytes.Clone(in))
		if e.Cells != nil {
			r.Told[len(r.Told)-1].Reply = hashOf(reply)
			r.Told = append(r.Told, Told{})
		}
		fmt.Fprintf(said, "%d\n", len(reply))
		said.Write(reply)
		return reply
	}
	j, w := Job{Notebook: e.Notebook, Seed: e.Seed, Limits: e.Limits}, job{}
	if e.Cells != nil {
		r.Told = make([]Told, 1)
		j.Exchange, j.Output = exchange, func(_ int, text []byte) {
			last := &r.Told[len(r.Told)-1]
			last.Printed = append(last.Printed, text...)
		}
		w = job{Cells: e.Cells, Last: true, Fast: !e.Slow}
	} else {
		j.Session = func(Sheet) (func([]byte) []byte, error) {
			r, said, tokens, carried = Return{}, sha256.New(), e.Tokens, 0
			return exchange, nil
		}
	}
	out, err := p.do(ctx, j, w)
	if r.Lacks != "" {
		return Return{Lacks: r.Lacks}, nil
	}
	if err != nil {
		return Return{}, err
	}
	for i := range out.Cells {
		out.Cells[i].Output = ""
	}
	r.Outcome = out
	said.Sum(r.Replies[:0])
	return r, nil
}

// Accept takes what came back from an errand of a job: the frames are exchanged as if the program
// sent them now. ok is false if one of them has another reply than the program was given there:
// then nothing of it counts, and the job has to be run here. So a wrong Supply costs time, and
// never changes what comes out. An error is what Job.Session said.
func (j Job) Accept(r Return) (out Outcome, ok bool, err error) {
	if r.Lacks != "" {
		return out, false, nil
	}
	if r.Outcome.Unread != "" && len(r.Frames) == 0 {
		return r.Outcome, true, nil
	}
	exchange, err := j.Session(r.Outcome.Sheet)
	if err != nil {
		return out, false, err
	}
	said := sha256.New()
	for _, in := range r.Frames {
		reply := exchange(in)
		fmt.Fprintf(said, "%d\n", len(reply))
		said.Write(reply)
	}
	return r.Outcome, bytes.Equal(said.Sum(nil), r.Replies[:]), nil
}

// Accept takes what came back from an errand of a box: what it printed is told to Output, and its
// frames are exchanged, in their order. Where one of them has another reply than the program was
// given there, ok is false, and rest is the box to run here: what was told and exchanged until then
// does not count twice.
func (b Box) Accept(r Return) (out Outcome, rest Box, ok bool) {
	if r.Lacks != "" || len(r.Told) != len(r.Frames)+1 {
		return out, b, false
	}
	var replies [][]byte
	printed := 0
	for i, told := range r.Told {
		if len(told.Printed) > 0 && b.Output != nil {
			b.Output(told.Printed)
		}
		printed += len(told.Printed)
		if i == len(r.Frames) {
			break
		}
		reply := b.Exchange(r.Frames[i])
		replies = append(replies, reply)
		if hashOf(reply) != told.Reply {
			return out, b.after(r.Frames[:i+1], replies, printed), false
		}
	}
	return r.Outcome, b, true
}

// after is a box of which so much has been told and exchanged.
func (b Box) after(frames, replies [][]byte, printed int) Box {
	exchange, output := b.Exchange, b.Output
	b.Exchange = func(in []byte) []byte {
		if len(frames) == 0 || !bytes.Equal(in, frames[0]) {
			frames = nil
			return exchange(in)
		}
		reply := replies[0]
		frames, replies = frames[1:], replies[1:]
		return reply
	}
	if output != nil {
		b.Output = func(text []byte) {
			known := min(printed, len(text))
			if printed -= known; known < len(text) {
				output(text[known:])
			}
		}
	}
	return b
}
