package labserver

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
)

// An Entry is one answer with its verdict: one line of an answers log.
type Entry struct {
	Time     time.Time // UTC
	Question string    // "kappa"
	Answer   judge.Answer
	Verdict  judge.Verdict
}

// real is a float64 that JSON can hold whatever it is: NaN and the infinities
// become strings.
type real float64

func (r real) MarshalJSON() ([]byte, error) {
	if v := float64(r); math.IsNaN(v) || math.IsInf(v, 0) {
		return json.Marshal(fmt.Sprint(v))
	}
	return json.Marshal(float64(r))
}

func (r *real) UnmarshalJSON(b []byte) error {
	switch string(b) {
	case `"NaN"`:
		*r = real(math.NaN())
	case `"+Inf"`:
		*r = real(math.Inf(1))
	case `"-Inf"`:
		*r = real(math.Inf(-1))
	default:
		return json.Unmarshal(b, (*float64)(r))
	}
	return nil
}

// line is an Entry as JSON.
type line struct {
	Time     time.Time   `json:"time"`
	Question string      `json:"question"`
	Answer   lineAnswer  `json:"answer"`
	Verdict  lineVerdict `json:"verdict"`
}

type lineAnswer struct {
	Value  *real    `json:"value,omitempty"`
	U      *real    `json:"u,omitempty"`
	Unit   string   `json:"unit,omitempty"`
	Text   string   `json:"text,omitempty"`
	Typed  bool     `json:"typed,omitempty"`
	Values [][]real `json:"values,omitempty"`
	Fault  string   `json:"fault,omitempty"`
}

// lineVerdict takes the place of SI in a judge.Verdict.
type lineVerdict struct {
	judge.Verdict
	SI *real `json:"si,omitempty"`
}

// pointer leaves zeros out of the log.
func pointer(v float64) *real {
	if v == 0 {
		return nil
	}
	r := real(v)
	return &r
}

func value(r *real) float64 {
	if r == nil {
		return 0
	}
	return float64(*r)
}

// MarshalJSON writes an entry as a log holds it.
func (e Entry) MarshalJSON() ([]byte, error) {
	a := e.Answer
	l := line{Time: e.Time, Question: e.Question, Verdict: lineVerdict{e.Verdict, pointer(e.Verdict.SI)}}
	l.Answer = lineAnswer{Value: pointer(a.Value), U: pointer(a.U), Unit: a.Unit, Text: a.Text, Typed: a.Typed, Fault: a.Fault}
	for _, v := range a.Values {
		row := make([]real, len(v))
		for i, x := range v {
			row[i] = real(x)
		}
		l.Answer.Values = append(l.Answer.Values, row)
	}
	return json.Marshal(l)
}

// UnmarshalJSON reads an entry as a log holds it.
func (e *Entry) UnmarshalJSON(b []byte) error {
	var l line
	if err := json.Unmarshal(b, &l); err != nil {
		return err
	}
	a := l.Answer
	*e = Entry{Time: l.Time, Question: l.Question, Verdict: l.Verdict.Verdict}
	e.Verdict.SI = value(l.Verdict.SI)
	e.Answer = judge.Answer{Value: value(a.Value), U: value(a.U), Unit: a.Unit, Text: a.Text, Typed: a.Typed, Fault: a.Fault}
	for _, v := range a.Values {
		row := make([]float64, len(v))
		for i, x := range v {
			row[i] = float64(x)
		}
		e.Answer.Values = append(e.Answer.Values, row)
	}
	return nil
}

// LogFile is the answers log of a sheet in a data folder.
func LogFile(data, lab string, code bank.Code) string {
	name := string(code)
	if name == "" {
		name = "default"
	}
	return filepath.Join(data, "answers", lab, name+".jsonl")
}

// ReadLog reads a log from the byte at on, and returns where the next read goes
// on. Lines that cannot be read are left out; a last line without its end is
// left for the next time. A log that does not exist is empty.
func ReadLog(path string, at int64) (entries []Entry, next int64, err error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, 0, nil
	}
	if err != nil {
		return nil, at, fmt.Errorf("reading the answers log: %w", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err != nil || info.Size() < at {
		at = 0 // another log under the same name: the student put it away
	}
	if _, err := f.Seek(at, io.SeekStart); err != nil {
		return nil, at, fmt.Errorf("reading the answers log: %w", err)
	}
	b, err := io.ReadAll(f)
	if err != nil {
		return nil, at, fmt.Errorf("reading the answers log: %w", err)
	}
	for {
		end := bytes.IndexByte(b, '\n')
		if end < 0 {
			return entries, at, nil
		}
		var e Entry
		if json.Unmarshal(b[:end], &e) == nil && e.Question != "" {
			entries = append(entries, e)
		}
		b, at = b[end+1:], at+int64(end)+1
	}
}

// appendLog adds an entry to a log in one write.
func appendLog(path string, e Entry) error {
	text, err := json.Marshal(e)
	if err != nil {
		return fmt.Errorf("writing the answers log: %w", err)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("writing the answers log: %w", err)
	}
	f, err := os.OpenFile(path, os.O_RDWR|os.O_APPEND|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("writing the answers log: %w", err)
	}
	defer f.Close()
	out := append(text, '\n')
	if brokenOff(f) {
		out = append([]byte{'\n'}, out...)
	}
	if _, err := f.Write(out); err != nil {
		return fmt.Errorf("writing the answers log: %w", err)
	}
	return f.Close()
}

// brokenOff reports whether the file's last line lacks its end.
func brokenOff(f *os.File) bool {
	info, err := f.Stat()
	if err != nil || info.Size() == 0 {
		return false
	}
	var last [1]byte
	_, err = f.ReadAt(last[:], info.Size()-1)
	return err == nil && last[0] != '\n'
}
