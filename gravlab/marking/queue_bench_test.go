//go:build linux

package marking

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/gob"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

// A kept run is what one notebook did when it was run confined. It stands in for the runs of all
// the sheets of its lab: their codes have the same length, and a session that is confined has the
// same tokens each time.
type keptRun struct {
	Notebook []byte
	Code     bank.Code
	Return   sandbox.Return
	Took     time.Duration // of processor time
	Sent     int           // bytes of the errand
}

// as is the run of another sheet.
func (r keptRun) frames(code bank.Code) [][]byte {
	var all [][]byte
	for _, f := range r.Return.Frames {
		all = append(all, bytes.ReplaceAll(f, []byte(r.Code), []byte(code)))
	}
	return all
}

func (r keptRun) notebook(code bank.Code) []byte {
	return bytes.ReplaceAll(r.Notebook, []byte(r.Code), []byte(code))
}

func codeIn(text []byte) bank.Code {
	return bank.Code(notebook.Declarations(string(text), 1)[0].Code)
}

// keepRun runs the worked sheet of the first student.
func keepRun(t testing.TB, k *marker, lab bank.Lab) keptRun {
	t.Helper()
	p, err := pool()
	if err != nil {
		t.Fatal(err)
	}
	nb := PlainNotebook(lab)
	if files, _ := filepath.Glob("../../notebooks/" + lab.Number() + "-*.ipynb"); len(files) == 1 {
		if nb, err = notebook.ReadFile(files[0], notebook.Options{}); err != nil {
			t.Fatal(err)
		}
	}
	code := bank.StudentCode(k.Key, lab.ID, k.Class.Students[0].ID, "")
	if _, err := lab.Sheet(code).Fill(nb, true); err != nil {
		t.Fatal(err)
	}
	r := keptRun{Code: code}
	if r.Notebook, err = nb.Bytes(); err != nil {
		t.Fatal(err)
	}
	k.start = func() (Runner, error) {
		return func(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
			e, ok := j.Errand()
			if !ok {
				t.Fatal("the notebook cannot be an errand")
			}
			text, err := sandbox.Encode(e)
			if err != nil {
				t.Fatal(err)
			}
			r.Sent = len(text)
			before := spent(syscall.RUSAGE_CHILDREN)
			if r.Return, err = p.RunErrand(ctx, e); err != nil {
				t.Fatal(err)
			}
			r.Took = spent(syscall.RUSAGE_CHILDREN) - before
			out, ok, err := j.Accept(r.Return)
			if !ok {
				t.Fatalf("the run is not taken: it lacks %q", r.Return.Lacks)
			}
			return out, err
		}, nil
	}
	if _, err := k.run(t.Context(), r.Notebook, fingerprint(r.Notebook), fingerprint(r.Notebook), nil); err != nil {
		t.Fatal(err)
	}
	return r
}

func spent(whose int) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(whose, &u); err != nil {
		panic(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// A stillPool runs nothing: after a pause it says what the kept run says.
type stillPool struct {
	Kept   keptRun
	Places int
	Pause  time.Duration
	places chan struct{}
}

func (p *stillPool) Workers() int { return p.Places }

func (p *stillPool) wait(ctx context.Context) error {
	select {
	case p.places <- struct{}{}:
		defer func() { <-p.places }()
	case <-ctx.Done():
		return ctx.Err()
	}
	select {
	case <-time.After(p.Pause):
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

func (p *stillPool) Run(ctx context.Context, j sandbox.Job) (sandbox.Outcome, error) {
	if err := p.wait(ctx); err != nil {
		return sandbox.Outcome{}, err
	}
	code := codeIn(j.Notebook)
	out := p.Kept.Return.Outcome
	out.Sheet.Code = string(code)
	exchange, err := j.Session(out.Sheet)
	if err != nil {
		return out, err
	}
	for _, f := range p.Kept.frames(code) {
		exchange(f)
	}
	return out, nil
}

func (p *stillPool) RunErrand(ctx context.Context, e sandbox.Errand) (sandbox.Return, error) {
	if err := p.wait(ctx); err != nil {
		return sandbox.Return{}, err
	}
	code := codeIn(e.Notebook)
	r := p.Kept.Return
	r.Outcome.Sheet.Code = string(code)
	r.Frames = p.Kept.frames(code)
	said, tokens := sha256.New(), e.Tokens
	for _, in := range r.Frames {
		f, err := wire.Decode(in)
		if err != nil {
			return r, err
		}
		reply, _ := wire.Frame{Head: wire.Head{Kind: wire.Recorded}}.Append(nil)
		switch f.Kind {
		case wire.Recording, wire.Function:
			reply = e.Replies[strings.Join([]string{string(f.Kind), f.Lab, f.Code, f.Name, f.Question, f.Signature, strconv.Itoa(f.At)}, "\x00")]
			if f.Kind == wire.Function {
				calls, err := wire.Decode(reply)
				if err != nil {
					return r, err
				}
				calls.Token, tokens = tokens[0], tokens[1:]
				if reply, err = calls.Append(nil); err != nil {
					return r, err
				}
			}
		}
		fmt.Fprintf(said, "%d\n", len(reply))
		said.Write(reply)
	}
	said.Sum(r.Replies[:0])
	return r, nil
}

// stillLender names the variable that makes this test's program lend a stillPool, which it reads
// from the file of the first line; the rest is as in lender.
const stillLender = "GRAVLAB_STILL_LENDER"

func init() { roles[stillLender] = beStill }

func beStill(text string) {
	file, rest, _ := strings.Cut(text, "\n")
	f, err := os.Open(file)
	if err != nil {
		panic(err)
	}
	p := &stillPool{}
	if err := gob.NewDecoder(f).Decode(p); err != nil {
		panic(err)
	}
	p.places = make(chan struct{}, p.Places)
	args := strings.Split(rest, "\n")
	err = machines.Lend(context.Background(), p, machines.Options{Carrier: args[0], Version: args[1], Args: args[2:], Log: func(string) {}})
	if err != nil {
		fmt.Fprintln(os.Stderr, "lender:", err)
	}
}

// inProc reads what the system says of a process.
func inProc(pid int) (name string, parent int, used time.Duration, peak int64) {
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return
	}
	_, rest, _ := strings.Cut(string(stat), "(")
	at := strings.LastIndex(rest, ")")
	name = rest[:at]
	fields := strings.Fields(rest[at+1:])
	parent, _ = strconv.Atoi(fields[1])
	for _, f := range fields[11:13] {
		ticks, _ := strconv.Atoi(f)
		used += time.Duration(ticks) * 10 * time.Millisecond
	}
	status, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	_, after, _ := strings.Cut(string(status), "VmHWM:")
	fmt.Sscan(after, &peak)
	return name, parent, used, peak * 1024
}

// workOff has a marker run the notebooks of the first n students, as many at once as the command
// does.
func workOff(t testing.TB, k *marker, lab bank.Lab, kept keptRun, n int) {
	next := make(chan int)
	var under sync.WaitGroup
	for range 512 {
		under.Go(func() {
			for i := range next {
				text := kept.notebook(bank.StudentCode(k.Key, lab.ID, k.Class.Students[i].ID, ""))
				if _, err := k.run(t.Context(), text, "", fingerprint(text), nil); err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	under.Wait()
}

// carriers are the programs that carry for a process.
func carriers(of int) (pids []int) {
	all, _ := filepath.Glob("/proc/[0-9]*")
	for _, dir := range all {
		pid, _ := strconv.Atoi(filepath.Base(dir))
		if name, parent, _, _ := inProc(pid); parent == of && strings.HasPrefix(name, "gravlab-machine") {
			pids = append(pids, pid)
		}
	}
	return pids
}

// sizeOf is how many bytes the files of a folder have.
func sizeOf(dir string) (sum float64) {
	filepath.WalkDir(dir, func(_ string, d os.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			if info, err := d.Info(); err == nil {
				sum += float64(info.Size())
			}
		}
		return nil
	})
	return sum
}

// BenchmarkQueue is what the queue costs the machine that marks, in processor time for each
// notebook and in memory: notebooks of a lab with their real sizes, whose runs take no time here or
// there. What the same costs without a queue (the sheet, its recordings, figures, the store) is
// measured beside it, and is no part of marker-ms; carrier-ms has the server in it. The number of
// notebooks is that of GRAVLAB_ERRANDS, or 500.
func BenchmarkQueue(b *testing.B) {
	n := 500
	if text := os.Getenv("GRAVLAB_ERRANDS"); text != "" {
		var err error
		if n, err = strconv.Atoi(text); err != nil {
			b.Fatal(err)
		}
	}
	carry, err := machines.Build(b.Context(), "../..", b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	const version = "measured"
	for _, number := range []string{"90", "01", "06", "08", "12"} {
		b.Run("lab="+number, func(b *testing.B) {
			lab, err := exercises.Find(number)
			if err != nil {
				b.Fatal(err)
			}
			c := newClassroom(b, lab, n)
			newMarker := func() *marker {
				dir := b.TempDir()
				return &marker{Marking: c.Marking, store: store{dir}, owners: map[string]sheets{}}
			}
			kept := keepRun(b, newMarker(), lab)
			back, err := sandbox.Encode(kept.Return)
			if err != nil {
				b.Fatal(err)
			}
			file := filepath.Join(b.TempDir(), "kept")
			var text bytes.Buffer
			if err := gob.NewEncoder(&text).Encode(&stillPool{Kept: kept, Places: 8}); err != nil {
				b.Fatal(err)
			}
			if err := os.WriteFile(file, text.Bytes(), 0o600); err != nil {
				b.Fatal(err)
			}
			still := &stillPool{Kept: kept, Places: 2, places: make(chan struct{}, 2)}
			// all runs every notebook and returns the processor time of this process for each.
			all := func(n int, runner Runner) float64 {
				k := newMarker()
				k.start = func() (Runner, error) { return runner, nil }
				before := spent(syscall.RUSAGE_SELF)
				workOff(b, k, lab, kept, n)
				return (spent(syscall.RUSAGE_SELF) - before).Seconds() * 1000 / float64(n)
			}
			for b.Loop() {
				alone := all(min(n, 1000), still.Run)

				dir, address := b.TempDir(), freeAddress(b)
				token := filepath.Join(dir, "lend.token")
				q, err := machines.NewQueue(still, machines.Options{Carrier: carry, Version: version, Args: []string{"--listen", address, "--dir", dir}, Log: func(string) {}})
				if err != nil {
					b.Fatal(err)
				}
				waitFor(b, token)
				carrying := carriers(os.Getpid())[0]
				program, err := os.Executable()
				if err != nil {
					b.Fatal(err)
				}
				lend := exec.Command(program)
				lend.Env = append(os.Environ(), stillLender+"="+strings.Join([]string{file, carry, version, "--to", "nats://" + address, "--token-file", token}, "\n"))
				lend.Stderr = os.Stderr
				if err := lend.Start(); err != nil {
					b.Fatal(err)
				}
				debug.FreeOSMemory()
				os.WriteFile("/proc/self/clear_refs", []byte("5"), 0)
				_, _, _, base := inProc(os.Getpid())
				disc, looked := 0.0, make(chan struct{})
				looking, enough := context.WithCancel(b.Context())
				go func() {
					defer close(looked)
					for looking.Err() == nil {
						disc = max(disc, sizeOf(filepath.Join(dir, "stored")))
						time.Sleep(300 * time.Millisecond)
					}
				}()
				queued := all(n, q.Run)
				enough()
				<-looked
				taken, _ := q.Taken()
				if taken != n {
					b.Errorf("%d of %d came back from the others", taken, n)
				}
				_, _, _, peak := inProc(os.Getpid())
				_, _, carried, carrierPeak := inProc(carrying)
				_, _, lent, lenderPeak := inProc(lend.Process.Pid)
				for _, pid := range carriers(lend.Process.Pid) {
					_, _, used, _ := inProc(pid)
					lent += used
				}
				if err := q.Close(); err != nil {
					b.Error(err)
				}
				lend.Process.Kill()
				lend.Wait()
				per := func(d time.Duration) float64 { return d.Seconds() * 1000 / float64(n) }
				b.ReportMetric(alone, "alone-ms")
				b.ReportMetric(queued-alone, "marker-ms")
				b.ReportMetric(per(carried), "carrier-ms")
				b.ReportMetric(per(lent), "lender-ms")
				b.ReportMetric(float64(peak)/1e6, "marker-MB")
				b.ReportMetric(float64(base)/1e6, "before-MB")
				b.ReportMetric(float64(carrierPeak)/1e6, "carrier-MB")
				b.ReportMetric(float64(lenderPeak)/1e6, "lender-MB")
				b.ReportMetric(disc/1e6, "disc-MB")
				b.ReportMetric(float64(kept.Sent)/1e3, "errand-kB")
				b.ReportMetric(float64(len(back))/1e3, "back-kB")
				b.ReportMetric(float64(kept.Took.Milliseconds()), "run-ms")
				b.ReportMetric(0, "ns/op")
			}
		})
	}
}

// BenchmarkScaling marks with 1 to 64 machines of 2 places, whose runs take time and no processor:
// what is left is what the queue and the one who marks cost. efficiency is the time that the runs
// take by themselves, divided by the time of the marking. The runs that are done here too take no
// processor either.
func BenchmarkScaling(b *testing.B) {
	const places, waves = 2, 40
	// The notebook of the tests costs little besides its run: it shows what the queue does. That of
	// lab 01 takes as long as it was measured to take.
	pauses := map[string]time.Duration{"90": time.Second}
	carry, err := machines.Build(b.Context(), "../..", b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	const version = "scaled"
	for _, number := range []string{"90", "01"} {
		lab, err := exercises.Find(number)
		if err != nil {
			b.Fatal(err)
		}
		c := newClassroom(b, lab, 64*places*waves)
		newMarker := func() *marker {
			return &marker{Marking: c.Marking, store: store{b.TempDir()}, owners: map[string]sheets{}}
		}
		var kept keptRun
		for _, n := range []int{1, 2, 4, 8, 16, 32, 64} {
			b.Run(fmt.Sprintf("lab=%s/machines=%d", number, n), func(b *testing.B) {
				if kept.Code == "" {
					kept = keepRun(b, newMarker(), lab)
				}
				pause := cmp.Or(pauses[number], kept.Took)
				still := func() *stillPool {
					return &stillPool{Kept: kept, Places: places, Pause: pause, places: make(chan struct{}, places)}
				}
				for b.Loop() {
					dir, address := b.TempDir(), freeAddress(b)
					q, err := machines.NewQueue(still(), machines.Options{Carrier: carry, Version: version, Args: []string{"--listen", address, "--dir", dir}, Log: func(string) {}})
					if err != nil {
						b.Fatal(err)
					}
					token := filepath.Join(dir, "lend.token")
					waitFor(b, token)
					ctx, stop := context.WithCancel(b.Context())
					var lending sync.WaitGroup
					for range n {
						lending.Go(func() {
							machines.Lend(ctx, still(), machines.Options{Carrier: carry, Version: version, Args: []string{"--to", "nats://" + address, "--token-file", token}, Log: func(string) {}})
						})
					}
					time.Sleep(4 * time.Second) // until all are there
					k := newMarker()
					k.start = func() (Runner, error) { return q.Run, nil }
					sheets := n * places * waves
					began, used := time.Now(), spent(syscall.RUSAGE_SELF)
					workOff(b, k, lab, kept, sheets)
					took := time.Since(began)
					cores := (spent(syscall.RUSAGE_SELF) - used).Seconds() / took.Seconds()
					taken, again := q.Taken()
					stop()
					lending.Wait()
					if err := q.Close(); err != nil {
						b.Error(err)
					}
					if taken != sheets {
						b.Errorf("%d of %d came back", taken, sheets)
					}
					b.ReportMetric(waves*pause.Seconds()/took.Seconds(), "efficiency")
					b.ReportMetric(float64(sheets)/took.Seconds(), "sheets/s")
					b.ReportMetric(cores, "cores-here")
					b.ReportMetric(float64(again), "run-here-too")
					b.ReportMetric(pause.Seconds(), "run-s")
					b.ReportMetric(0, "ns/op")
				}
			})
		}
	}
}
