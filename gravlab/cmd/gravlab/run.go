package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/internal/webassets"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/report"
)

var runCommand = command{
	name: "run", args: "[flags] NOTEBOOK...",
	short: "run notebooks from top to bottom and print the marks",
	long: `
Runs the cells of each notebook in order, writes OUT/NAME.ipynb with the
outputs and OUT/NAME.html, a page that loads nothing from anywhere, and prints
each question with what was understood, the verdict and the marks. The last line is
"marks N of M". The notebook itself is not changed. For an assessed sheet it
shows only what was understood.

--worked          first puts the bank's worked solutions into the answer cells
                  of the copy
--out DIR         where the results go (out)
--timeout TIME    limit for each cell, such as 90s or 5m (2m)
--kernel NAME     use an installed kernelspec instead of the labs' own kernel

The exit code is 0 if every cell ran, 1 if one failed, panicked or ran out of
time, and 2 if a notebook cannot be read. Ctrl-C stops the running cell, saves
the results so far and ends the program.

Example:

  gravlab run --worked notebooks/01-weighing-the-earth.ipynb`,
	run: runRun,
}

type runSettings struct {
	worked  bool
	out     string
	timeout time.Duration
	kernel  string
}

func runRun(ctx context.Context, c *call) error {
	var s runSettings
	c.flags.BoolVar(&s.worked, "worked", false, "")
	c.flags.StringVar(&s.out, "out", "out", "")
	c.flags.DurationVar(&s.timeout, "timeout", 2*time.Minute, "")
	c.flags.StringVar(&s.kernel, "kernel", "", "")
	paths, err := c.parse()
	switch {
	case err != nil:
		return err
	case len(paths) == 0:
		return usageError{errors.New("which notebook?"), "gravlab run notebooks/01-weighing-the-earth.ipynb"}
	case s.timeout <= 0:
		return usageError{fmt.Errorf("--timeout is %v", s.timeout), "give a time above zero, such as 90s"}
	}
	// All notebooks are read before the first one runs.
	var runs []*notebookRun
	for _, path := range paths {
		r, err := readRun(path, s)
		if err != nil {
			return usageError{err, ""}
		}
		for _, other := range runs {
			if other.out == r.out {
				return usageError{fmt.Errorf("%s and %s would both be written to %s.ipynb", other.path, path, r.out), "run them one by one, with different --out"}
			}
		}
		runs = append(runs, r)
	}
	if err := os.MkdirAll(s.out, 0o777); err != nil {
		return err
	}
	marks, of, waiting, ok := 0, 0, 0, true
	for _, r := range runs {
		fmt.Fprintf(c.out, "%s\n", r.path)
		ran, err := r.do(ctx, c, s)
		if err != nil {
			return err
		}
		ok = ok && ran
		if r.assessed {
			waiting++
		} else {
			marks, of = marks+r.summary.Marks, of+r.summary.Of
		}
		if ctx.Err() != nil {
			break
		}
	}
	if waiting < len(runs) {
		fmt.Fprintf(c.out, "marks %d of %d\n", marks, of)
	} else {
		fmt.Fprintln(c.out, "your lecturer gives the marks")
	}
	if !ok {
		return errFailed
	}
	return nil
}

// A notebookRun is one notebook on its way.
type notebookRun struct {
	path     string
	out      string // without its ending
	nb       *notebook.Notebook
	sheet    bank.Sheet
	hasSheet bool // the notebook declares a sheet
	// assessed: it is for the lecturer to say what its answers are worth.
	assessed bool
	summary  labserver.Summary
}

func readRun(path string, s runSettings) (*notebookRun, error) {
	nb, err := notebook.ReadFile(path, notebook.Options{NeedKernel: s.kernel == ""})
	if err != nil {
		return nil, err
	}
	r := &notebookRun{path: path, nb: nb, out: filepath.Join(s.out, strings.TrimSuffix(filepath.Base(path), ".ipynb"))}
	// A sheet whose code is mistyped still runs: every answer then says so.
	if r.sheet, r.hasSheet, err = exercises.SheetOf(nb); err != nil && s.worked {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if !s.worked {
		r.assessed = bank.Assessed(nb) || r.sheet.Sealed
		return r, nil
	}
	if !r.hasSheet {
		return nil, fmt.Errorf("%s: --worked needs a lab's notebook, and no cell declares a sheet", path)
	}
	if r.sheet.Sealed {
		return nil, fmt.Errorf("%s: %w; the worked solutions need its numbers, so --worked is for practice sheets. `gravlab run` without --worked runs your own answers", path, bank.ErrSealed)
	}
	if _, err := r.sheet.Fill(nb, true); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return r, nil
}

// do runs the notebook, writes the results and prints the table. It reports
// whether every cell ran.
func (r *notebookRun) do(ctx context.Context, c *call, s runSettings) (bool, error) {
	release, err := filelock.Claim(r.out + ".ipynb")
	if err != nil {
		return false, err
	}
	defer release()
	// Answers of a run are its own: they neither build on nor touch the user's.
	data, err := os.MkdirTemp("", "gravlab-run-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(data)

	r.nb.Clear()
	show := newProgress(c.err)
	result, runErr := kernel.Run(ctx, r.nb, kernel.RunOptions{
		Kernel: s.kernel, Dir: filepath.Dir(r.path), DataDir: data, Timeout: s.timeout,
		Progress: show.step, Log: show.say,
	})
	show.end()
	if runErr != nil && ctx.Err() == nil && len(result.Cells) == 0 {
		return false, runErr
	}
	if r.hasSheet {
		b, err := labserver.New(labserver.Options{Data: data})
		if err != nil {
			return false, err
		}
		defer b.Close()
		if r.summary, err = b.Summary(r.sheet.Lab.ID, string(r.sheet.Code), r.assessed); err != nil {
			return false, err
		}
	}
	if err := r.write(); err != nil {
		return false, err
	}
	r.print(c.out, result)
	if runErr != nil {
		fmt.Fprintf(c.err, "gravlab run: %s: %v\n", r.path, runErr)
	}
	return runErr == nil && len(result.Failed()) == 0, nil
}

func (r *notebookRun) write() error {
	if err := r.nb.WriteFile(r.out + ".ipynb"); err != nil {
		return err
	}
	var page bytes.Buffer
	if err := report.Write(&page, r.nb, report.Options{Title: r.title(), Questions: r.rows(), Charts: webassets.ECharts()}); err != nil {
		return err
	}
	return atomicfile.WriteFile(r.out+".html", page.Bytes(), 0o644)
}

func (r *notebookRun) rows() []report.QuestionRow {
	if r.assessed {
		return nil
	}
	var rows []report.QuestionRow
	for _, st := range r.summary.Standings {
		rows = append(rows, report.QuestionRow{
			From: r.sheet.Lab.FullID(st.Question.ID), Title: st.Question.Title, Understood: st.Verdict.Understood,
			Outcome: st.Verdict.Outcome, Slip: st.Verdict.Slip, Marks: st.Verdict.Marks, Of: st.Verdict.Of,
		})
	}
	return rows
}

func (r *notebookRun) title() string {
	if r.hasSheet {
		return r.sheet.Lab.Title
	}
	return filepath.Base(r.out)
}

// print writes the table of questions, then what went wrong, then where the
// results are.
func (r *notebookRun) print(out io.Writer, result *kernel.Result) {
	if r.assessed {
		fmt.Fprintln(out, r.summary.Display()["text/plain"])
	} else if r.hasSheet {
		w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "question\tanswer\tverdict\tmarks")
		for _, st := range r.summary.Standings {
			v := st.Verdict
			said := v.Outcome.Sign() + " " + string(v.Outcome)
			if v.Slip != "" {
				said += ": " + v.Slip
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%d of %d\n", r.sheet.Lab.FullID(st.Question.ID), dash(v.Understood), said, v.Marks, v.Of)
		}
		w.Flush()
	}
	for _, cell := range result.Failed() {
		line := fmt.Sprintf("cell %d %s", cell.Index+1, cell.Outcome)
		if cell.Reason != string(cell.Outcome) {
			line += ": " + cell.Reason
		}
		fmt.Fprintln(out, line)
	}
	fmt.Fprintf(out, "%s.html\n%s.ipynb\n", r.out, r.out)
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// progress shows on a terminal how far a run is.
type progress struct {
	w   io.Writer
	bar *progressbar.ProgressBar
	tty bool

	began time.Time // for count, without a terminal
}

func newProgress(w io.Writer) *progress {
	f, ok := w.(*os.File)
	return &progress{w: w, tty: ok && term.IsTerminal(int(f.Fd()))}
}

func (p *progress) say(what string) { fmt.Fprintln(p.w, what) }

func (p *progress) step(s kernel.Progress) {
	if !p.tty {
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(s.Of, progressbar.OptionSetWriter(p.w), progressbar.OptionSetWidth(30),
			progressbar.OptionShowCount(), progressbar.OptionClearOnFinish(), progressbar.OptionSetDescription("cells"))
	}
	p.bar.Set(s.Done)
}

func (p *progress) end() {
	if p.bar != nil {
		p.bar.Finish()
	}
}
