package page

import (
	"context"
	"strings"
	"sync"

	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
)

// Kernels runs boxes in the Go kernel, one for each notebook, with the rights of
// the reader: nothing is confined. A kernel starts when its notebook first needs
// it, is stopped when it is idle, and starts again when it is needed after that
// or after it has died.
type Kernels struct {
	clone, data string

	mu    sync.Mutex
	lives map[string]*kernel.Live
}

// NewKernels prepares kernels that know the packages of a clone and keep answers in
// a data folder. None is started. The error says that there are none on this system.
func NewKernels(clone, data string) (*Kernels, error) {
	if err := kernel.Available(); err != nil {
		return nil, err
	}
	return &Kernels{clone: clone, data: data, lives: map[string]*kernel.Live{}}, nil
}

// Close stops all kernels. What runs has to be ended before.
func (k *Kernels) Close() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	var closing sync.WaitGroup
	for _, l := range k.lives {
		closing.Go(l.Close)
	}
	closing.Wait()
	return nil
}

// RunBox runs a box in the kernel of its notebook.
func (k *Kernels) RunBox(ctx context.Context, b Box) (Result, error) {
	l, err := k.of(b)
	if err != nil {
		return Result{}, err
	}
	res, err := l.Run(ctx, kernel.LiveCell{Above: b.Above, Source: b.Source, Log: b.Log, Tell: func(p kernel.Piece) {
		switch {
		case p.Anew:
			b.Anew()
		case p.Output.Kind == notebook.Stream:
			b.Output([]byte(p.Output.Text))
		default:
			b.Show(p.Output)
		}
	}})
	if err != nil {
		return Result{}, err
	}
	return resultOfLive(res), nil
}

func (k *Kernels) of(b Box) (*kernel.Live, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if l := k.lives[b.Notebook]; l != nil {
		return l, nil
	}
	l, err := kernel.NewLive(kernel.LiveOptions{Clone: k.clone, DataDir: k.data, Dir: b.Folders[0], Beside: b.Folders[1:], Limits: kernel.Limits{Text: 2 * mostPrinted}})
	if err == nil {
		k.lives[b.Notebook] = l
	}
	return l, err
}

// resultOfLive says in plain words how a box went in a kernel.
func resultOfLive(res kernel.LiveResult) Result {
	var r Result
	for _, f := range res.Faults {
		r.Trouble = append(r.Trouble, Trouble{Line: f.Line, Text: plainEnd(f.Text)})
	}
	for _, text := range res.Above {
		r.Remarks = append(r.Remarks, "In a box above: "+sandbox.Plain(text))
	}
	if len(r.Trouble) > 0 {
		return r
	}
	switch res.Outcome {
	case kernel.Ran:
	case kernel.TimedOut:
		r.Trouble = []Trouble{{Text: "Stopped: it took longer than a box may take. Does a loop never end? Your text is saved."}}
	case kernel.Died:
		r.Trouble = []Trouble{{Text: "The Go kernel died in this box; the next box starts another. Your text is saved.\n" + res.Reason}}
	default:
		r.Trouble = []Trouble{{Text: plainEnd(res.Reason)}}
	}
	return r
}

// plainEnd says in plain words why a program was not built or did not come to its
// end. Where a panic is told, its exit status says nothing more.
func plainEnd(text string) string {
	if strings.HasPrefix(text, "panic: ") || strings.HasPrefix(text, "fatal error: ") {
		text, _, _ = strings.Cut(text, " (exit status ")
	}
	if strings.HasPrefix(text, "fatal error: ") && (strings.Contains(text, "out of memory") || strings.Contains(text, "cannot allocate memory")) {
		return ended(sandbox.LimitMemory)
	}
	return sandbox.Plain(text)
}
