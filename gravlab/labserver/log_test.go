package labserver

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/wire"
)

func TestEntryRoundTrip(t *testing.T) {
	for _, e := range []Entry{
		{Time: time.Date(2031, 3, 9, 10, 11, 12, 0, time.UTC), Question: "kappa",
			Answer:  judge.Answer{Value: math.NaN(), U: math.Inf(1), Unit: "N"},
			Verdict: judge.Verdict{Outcome: judge.OutcomeUnreadable, Of: 2, Message: "a\nb", SI: math.Inf(-1)}},
		{Question: "torque", Answer: judge.Answer{Values: [][]float64{{1, math.NaN()}, {}, {5e-324}}}, Verdict: judge.Verdict{Outcome: judge.OutcomeRight, Marks: 3, Of: 3, SI: 0.1}},
		{Question: "sketch", Answer: judge.Answer{Text: "two\nlines", Typed: true, Fault: "f"}},
	} {
		b, err := json.Marshal(e)
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(string(b), "\n") {
			t.Errorf("more than one line: %s", b)
		}
		var got Entry
		if err := json.Unmarshal(b, &got); err != nil {
			t.Fatalf("%s: %v", b, err)
		}
		// %v writes a NaN like a NaN, which == does not.
		if fmt.Sprintf("%v", got) != fmt.Sprintf("%v", e) {
			t.Errorf("%v came back as %v", e, got)
		}
	}
}

func choose(t testing.TB, d *desk, option string) {
	t.Helper()
	d.ask(t, textFrame("00", "brackets", wire.FormChoice, option))
}

func standing(t testing.TB, b *Server) Standing {
	t.Helper()
	sum, err := b.Summary("00", "", false)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sum.Standings {
		if s.Question.ID == "brackets" {
			return s
		}
	}
	t.Fatal("no such question")
	return Standing{}
}

func openBench(t testing.TB, data string) *Server {
	t.Helper()
	b, err := New(Options{Data: data})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The log outlives the lab server, and the last answer counts.
func TestLogOutlivesBench(t *testing.T) {
	data := t.TempDir()
	first := deskOf(openBench(t, data), SessionOptions{})
	choose(t, first, "a")
	choose(t, first, "b")
	s := standing(t, openBench(t, data))
	if s.Verdict.Outcome != judge.OutcomeSlip || s.Answer.Text != "b" || s.Tries != 2 {
		t.Errorf("%+v, want the last answer b and two tries", s)
	}
}

// Two kernels at one notebook see each other's answers.
func TestTwoBenches(t *testing.T) {
	data := t.TempDir()
	one, two := deskOf(openBench(t, data), SessionOptions{}), deskOf(openBench(t, data), SessionOptions{})
	choose(t, one, "b")
	choose(t, two, "c")
	choose(t, one, "a")
	for i, d := range []*desk{one, two} {
		if s := standing(t, d.bench); s.Verdict.Outcome != judge.OutcomeRight || s.Tries != 3 {
			t.Errorf("bench %d: %s after %d tries, want right after 3", i+1, s.Verdict.Outcome, s.Tries)
		}
	}
}

// Lines of several writers stay whole.
func TestAppendTogether(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a", "log.jsonl")
	const writers, lines = 8, 50
	var wg sync.WaitGroup
	for w := range writers {
		wg.Go(func() {
			for range lines {
				e := Entry{Question: "q", Answer: judge.Answer{Text: strings.Repeat(fmt.Sprint(w), 5000)}}
				if err := appendLog(path, e); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	entries, _, err := ReadLog(path, 0)
	if err != nil || len(entries) != writers*lines {
		t.Errorf("%d entries, %v; want %d", len(entries), err, writers*lines)
	}
}

// A line that is broken off is left out, and the next answer is not lost with it.
func TestBrokenLine(t *testing.T) {
	data := t.TempDir()
	path := LogFile(data, "00-first-steps", "")
	choose(t, deskOf(openBench(t, data), SessionOptions{}), "a")
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteString("no JSON\n{\"question\":\"gone\",\"answer\":{}}\n\n{\"question\":\"brackets\",\"verd")
	f.Close()
	b := openBench(t, data)
	if s := standing(t, b); s.Verdict.Outcome != judge.OutcomeRight {
		t.Errorf("before: %s", s.Verdict.Outcome)
	}
	choose(t, deskOf(b, SessionOptions{}), "b")
	for _, b := range []*Server{b, openBench(t, data)} {
		if s := standing(t, b); s.Verdict.Outcome != judge.OutcomeSlip {
			t.Errorf("after: %s", s.Verdict.Outcome)
		}
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm()&0o077 != 0 {
		t.Errorf("others may read the log: %v, %v", info.Mode(), err)
	}
}

// A student who puts the log away begins again.
func TestLogPutAway(t *testing.T) {
	data := t.TempDir()
	d := deskOf(openBench(t, data), SessionOptions{})
	choose(t, d, "a")
	choose(t, d, "b")
	if err := os.Remove(LogFile(data, "00-first-steps", "")); err != nil {
		t.Fatal(err)
	}
	if s := standing(t, d.bench); s.Answered {
		t.Errorf("%+v", s)
	}
	choose(t, d, "a")
	if s := standing(t, d.bench); s.Tries != 1 || s.Verdict.Outcome != judge.OutcomeRight {
		t.Errorf("%s after %d tries", s.Verdict.Outcome, s.Tries)
	}
}

func TestDataFolder(t *testing.T) {
	want := t.TempDir()
	t.Setenv("GRAVLAB_DATA", want)
	if got, err := DataFolder(); err != nil || got != want {
		t.Errorf("%s, %v; want %s", got, err, want)
	}
	t.Setenv("GRAVLAB_DATA", "")
	if got, err := DataFolder(); err != nil || !filepath.IsAbs(got) || filepath.Base(got) != "gravlab" {
		t.Errorf("%s, %v", got, err)
	}
}

func TestNear(t *testing.T) {
	words := []string{"kappa", "theta", "big-g", "mean-1798", "experiment-1798"}
	for word, want := range map[string]string{"kapa": "kappa", "KAPPA": "kappa", "tetha": "theta", "big-G": "big-g", "mean1798": "mean-1798", "": "", "wholly-other": "", strings.Repeat("k", 1<<20): ""} {
		got := near(word, words)
		if want == "" && len(got) > 0 || want != "" && (len(got) == 0 || got[0] != want) {
			t.Errorf("near %.20q: %v, want %q", word, got, want)
		}
	}
}
