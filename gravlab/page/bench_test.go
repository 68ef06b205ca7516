package page_test

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/performance"
	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/browsertest"
	labpage "gravity.example/gravlab/page"
)

// A typed answer, from the request to the verdict: judged, logged, and the
// notebook written.
func BenchmarkAnswer(b *testing.B) {
	c := call(b, labpage.Options{Labs: labs, Data: b.TempDir()})
	c.enter()
	c.send(request{path: labPath + "?tab=a"})
	answer := request{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"1.57e-7","unit":"N m/rad"}}`}
	for b.Loop() {
		if status, _, body := c.send(answer); status != 200 {
			b.Fatal(body)
		}
	}
}

// The list of labs, and a lab, as the browser fetches them.
func BenchmarkFetch(b *testing.B) {
	for _, path := range []string{"/", "/api/labs", labPath + "?tab=a"} {
		b.Run(strings.NewReplacer("/", "_", "?tab=a", "").Replace(path), func(b *testing.B) {
			c := call(b, labpage.Options{Labs: labs, Data: b.TempDir()})
			c.enter()
			for b.Loop() {
				if status, _, body := c.send(request{path: path}); status != 200 {
					b.Fatal(body)
				}
			}
		})
	}
}

// A box, from the request to its end: one that prints, and one that fits a
// recording and draws what is left; confined, and in the Go kernel.
func BenchmarkBox(b *testing.B) {
	data := b.TempDir()
	for _, by := range []struct {
		name   string
		runner labpage.Runner
	}{{"confined", confined(b)}, {"kernel", kernels(b, data)}} {
		c := call(b, labpage.Options{Labs: labs, Data: data, Runner: by.runner})
		c.enter()
		_, _, body := c.send(request{path: labPath + "?tab=a"})
		var v struct{ Blocks []struct{ ID, Source string } }
		if err := json.Unmarshal([]byte(body), &v); err != nil {
			b.Fatal(err)
		}
		for _, box := range []struct{ does, id string }{{"prints", "code-06"}, {"fits", "code-14"}} {
			text := ""
			for _, block := range v.Blocks {
				if block.ID == box.id {
					text = block.Source
				}
			}
			turn := 0
			run := func() {
				// Changed each time, so that nothing of the last run is of use.
				turn++
				body, _ := json.Marshal(map[string]string{"Tab": "a", "Cell": box.id, "Source": fmt.Sprintf("%s\n// %d", text, turn)})
				if _, _, out := c.send(request{method: "POST", path: labPath + "/run", body: string(body)}); !strings.Contains(out, `"ok":true`) {
					b.Fatal(out)
				}
			}
			b.Run("does="+box.does+"/by="+by.name, func(b *testing.B) {
				run() // the kernel starts and learns
				for b.Loop() {
					run()
				}
			})
		}
		c.server.Close()
	}
}

// In a real browser: from the start of loading to the first paint and to a lab
// that can be used, with a warm cache; from Enter to the verdict on the screen; and the
// memory of an idle page.
func BenchmarkBrowser(b *testing.B) {
	clone, err := filepath.Abs("../..")
	if err != nil {
		b.Fatal(err)
	}
	files := labpage.Apparatus(b.Context(), clone, b.TempDir(), func(s string) { b.Log(s) })
	if _, err := files("apparatus.js"); err != nil { // it is built before anything is measured
		b.Fatal(err)
	}
	r := enter(b, labpage.Options{Labs: labs, Data: b.TempDir(), Runner: scripted{}, Web: browsertest.Built(b), Apparatus: files}, labs+first[4:]+".ipynb")
	number := func(js string) float64 {
		v, err := strconv.ParseFloat(r.read(js), 64)
		if err != nil {
			b.Fatal(err)
		}
		return v
	}
	b.Run("paint", func(b *testing.B) {
		paint, use := 0.0, 0.0
		for b.Loop() {
			r.open(first)
			r.waitFor(`performance.getEntriesByName("first-contentful-paint").length > 0`)
			paint += number(`performance.getEntriesByName("first-contentful-paint")[0].startTime`)
			use += number(`performance.getEntriesByName("lab ready")[0].startTime`)
		}
		b.ReportMetric(paint/float64(b.N), "ms-to-paint")
		b.ReportMetric(use/float64(b.N), "ms-to-use")
	})
	b.Run("verdict", func(b *testing.B) {
		r.typeIn("kappa-answer", "number", "1.57e-7")
		r.typeIn("kappa-answer", "unit", "N m/rad")
		total := 0.0
		for b.Loop() {
			ms, err := strconv.ParseFloat(r.await(`new Promise((done) => {
				const out = document.querySelector("#c-kappa-answer .output"), from = performance.now()
				new MutationObserver((_, o) => { o.disconnect(); requestAnimationFrame(() => requestAnimationFrame(() => done(String(performance.now() - from)))) }).observe(out, { childList: true })
				document.querySelector("#c-kappa-answer form").requestSubmit()
			})`), 64)
			if err != nil {
				b.Fatal(err)
			}
			total += ms
		}
		b.ReportMetric(total/float64(b.N), "ms-to-screen")
	})
	b.Run("slider", func(b *testing.B) {
		r.waitFor(`document.querySelector("#apparatus").checkVisibility()`)
		total := 0.0
		for b.Loop() {
			ms, err := strconv.ParseFloat(r.await(`new Promise((done) => {
				const slider = document.querySelector("#apparatus input[type=range]"), from = performance.now()
				slider.value = Number(slider.value) === Number(slider.min) ? slider.max : slider.min
				slider.dispatchEvent(new Event("input", { bubbles: true }))
				requestAnimationFrame(() => setTimeout(() => done(String(performance.now() - from))))
			})`), 64)
			if err != nil {
				b.Fatal(err)
			}
			total += ms
		}
		b.ReportMetric(total/float64(b.N), "ms-to-screen")
	})
	b.Run("idle", func(b *testing.B) {
		for b.Loop() {
		}
		if _, err := chromedp.Call(r.ctx, performance.Enable, performance.EnableParams{}); err != nil {
			b.Fatal(err)
		}
		got, err := chromedp.Call(r.ctx, performance.GetMetrics, cdp.Empty{})
		if err != nil {
			b.Fatal(err)
		}
		for _, m := range got.Metrics {
			if m.Name == "JSHeapUsedSize" {
				b.ReportMetric(m.Value/1e6, "MB-script-heap")
			}
		}
		b.ReportMetric(resident(), "MB-program")
	})
	b.Run("five", func(b *testing.B) {
		for b.Loop() {
		}
		for _, name := range []string{"00-first-steps", "02-settling-down", "03-mass-on-a-spring", "04-how-quiet"} {
			r.another().open("/lab/" + name)
		}
		b.ReportMetric(resident(), "MB-program")
	})
}

// Lab 01 is opened: from the start of loading to its first figure and to its last, worked out for
// this sheet or kept from before; and, meanwhile, from a key to the screen.
func BenchmarkOpening(b *testing.B) {
	runner := confined(b)
	web := browsertest.Built(b)
	for _, kept := range []bool{false, true} {
		b.Run(fmt.Sprintf("kept=%v", kept), func(b *testing.B) {
			figures, n := b.TempDir(), 0.0
			var firstAt, lastAt, slowest float64
			once := func() {
				if !kept {
					figures = b.TempDir()
				}
				r := enter(b, labpage.Options{Labs: labs, Data: b.TempDir(), Runner: runner, Web: web, Figures: figures}, "")
				defer r.stopServing()
				r.open(first)
				var got struct{ First, Last, Slowest float64 }
				err := json.Unmarshal([]byte(r.await(`new Promise((done) => {
					const drawn = () => [...document.querySelectorAll(".box figure img")].filter((i) => i.complete && i.naturalWidth > 0).length
					const box = document.querySelector("#c-code-06 .cm-content, #c-code-06 textarea")
					box.focus({ preventScroll: true })
					let First = 0, Slowest = 0
					const look = () => {
						const from = performance.now()
						First ||= drawn() > 0 ? from : 0
						if (First > 0 && !document.querySelector(".ghost")) return done(JSON.stringify({ First, Last: from, Slowest }))
						document.execCommand("insertText", false, "/")
						requestAnimationFrame(() => setTimeout(() => {
							Slowest = Math.max(Slowest, performance.now() - from)
							setTimeout(look, 30)
						}))
					}
					look()
				})`)), &got)
				if err != nil {
					b.Fatal(err)
				}
				firstAt, lastAt, slowest, n = firstAt+got.First, lastAt+got.Last, max(slowest, got.Slowest), n+1
			}
			if kept {
				once()
				firstAt, lastAt, slowest, n = 0, 0, 0, 0
			}
			for b.Loop() {
				once()
			}
			b.ReportMetric(firstAt/n, "ms-to-first-figure")
			b.ReportMetric(lastAt/n, "ms-to-all-figures")
			b.ReportMetric(slowest, "ms-slowest-key")
		})
	}
}

// resident is the memory of this process in MB, 0 where the system does not say.
func resident() float64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	var kb float64
	fmt.Sscan(rest, &kb)
	return kb / 1000
}
