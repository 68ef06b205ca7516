package main

import (
	"fmt"
	"time"

	"github.com/schollz/progressbar/v3"
)

// count shows on a terminal how many of a number of things are done and how long
// the rest will take; elsewhere it prints a line every tenth part.
func (p *progress) count(what string, done, of int) {
	if !p.tty {
		if p.began.IsZero() {
			p.began = time.Now()
		}
		if done == 0 || of < 20 || done*10/of == (done-1)*10/of {
			return
		}
		left := ""
		if done < of {
			left = fmt.Sprintf(", about %v left", (time.Since(p.began) * time.Duration(of-done) / time.Duration(done)).Round(time.Second))
		}
		fmt.Fprintf(p.w, "%s: %d of %d%s\n", what, done, of, left)
		return
	}
	if p.bar == nil {
		p.bar = progressbar.NewOptions(of, progressbar.OptionSetWriter(p.w), progressbar.OptionSetWidth(30), progressbar.OptionShowCount(),
			progressbar.OptionSetPredictTime(true), progressbar.OptionShowElapsedTimeOnFinish(), progressbar.OptionClearOnFinish(), progressbar.OptionSetDescription(what))
	}
	p.bar.Set(done)
}

// some writes a number of things.
func some(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
