package page_test

import (
	"context"
	"net"
	"net/http"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/browsertest"
	labpage "gravity.example/gravlab/page"
)

// A room is a served page and a browser tab in front of it.
type room struct {
	testing.TB
	ctx    context.Context // of the tab
	server *labpage.Server
	web    *http.Server
	o      labpage.Options
	host   string
	data   string
	quiet  atomic.Bool // what the page says is not looked at
}

// labs is the folder of the project's notebooks.
const labs = "../../notebooks"

// enter serves the page and opens a browser in front of it, at a notebook or at
// the list.
func enter(t testing.TB, o labpage.Options, notebook string) *room {
	t.Helper()
	r := &room{TB: t, o: o, data: o.Data}
	browsertest.Chromium(t) // or skipped, before anything is served
	r.serve("127.0.0.1:0")
	r.tab(browsertest.Start(t, 5*time.Minute))
	r.do(chromedp.Navigate(r.server.Address(r.host, notebook)))
	r.ready()
	return r
}

// tab opens a tab: the browser's first, or one beside another.
func (r *room) tab(beside context.Context) {
	r.Helper()
	var end context.CancelFunc
	r.ctx, end = chromedp.NewContext(beside)
	r.Cleanup(end)
	// A tab lives as long as the context of what is done first in it.
	if err := chromedp.Do(r.ctx); err != nil {
		r.Fatal(err)
	}
	browsertest.Complain(r.ctx, r, r.quiet.Load)
	r.look(1280, 900, "light")
}

// close closes the tab as a crash would: nothing in it is asked.
func (r *room) close() {
	ctx, end := context.WithTimeout(r.ctx, 2*time.Second)
	defer end()
	chromedp.Call(ctx, page.Close, cdp.Empty{}) // the tab is gone before it can answer
}

// another is the same page seen from a second tab.
func (r *room) another() *room {
	r.Helper()
	o := &room{TB: r.TB, server: r.server, web: r.web, o: r.o, host: r.host, data: r.data}
	o.tab(r.ctx)
	return o
}

func (r *room) serve(address string) {
	r.Helper()
	s, err := labpage.New(r.o)
	if err != nil {
		r.Fatal(err)
	}
	l, err := net.Listen("tcp", address)
	if err != nil {
		r.Fatal(err)
	}
	r.server, r.host = s, l.Addr().String()
	web := &http.Server{Handler: s.Handler()}
	r.web = web
	go web.Serve(l)
	r.Cleanup(func() {
		web.Close()
		s.Close()
	})
}

// stopServing is what happens when the program is killed.
func (r *room) stopServing() {
	r.web.Close()
	r.server.Close()
}

// A step is something done in the tab.
type step = chromedp.Action[chromedp.Void]

// do does things in the tab; each has some seconds to come to an end.
func (r *room) do(steps ...step) {
	r.Helper()
	for _, a := range steps {
		ctx, end := context.WithTimeout(r.ctx, 20*time.Second)
		err := chromedp.Do(ctx, a)
		end()
		if err != nil {
			r.fail(err.Error())
		}
	}
}

// fail ends the test with a picture and the words of the page.
func (r *room) fail(why string) {
	r.Helper()
	text, _ := chromedp.Run(r.ctx, chromedp.Evaluate[string](`document.querySelector("main").innerText.slice(0,60) + " … " + document.getElementById("notices").innerText + [...document.querySelectorAll(".failure, .warning")].map((e) => e.innerText)`))
	r.Fatalf("%s (see %s)\n%s", why, r.shot("failed", true), text)
}

// click clicks on an element once it stands still: an editor finds out how tall
// it is when it comes into view, and moves what is below.
func (r *room) click(selector string) {
	r.Helper()
	at := strconv.Quote(selector)
	r.await(`new Promise((done) => {
		const e = document.querySelector(` + at + `)
		e.scrollIntoView({ block: "center" })
		let last, same = 0
		const look = () => {
			const top = e.getBoundingClientRect().top
			same = top === last ? same + 1 : 0
			last = top
			if (same > 4) done("still")
			else setTimeout(look, 20)
		}
		look()
	})`)
	r.do(chromedp.Click(chromedp.CSS(selector)))
}

// ready waits until the page stands.
func (r *room) ready() {
	r.Helper()
	r.waitFor(`document.body && document.body.dataset.ready === "yes" && (!location.pathname.startsWith("/lab/") || document.querySelector("main").dataset.ready === "yes")`)
}

// open goes to a lab or to the list.
func (r *room) open(path string) {
	r.Helper()
	r.do(chromedp.Navigate("http://" + r.host + path))
	r.ready()
}

// waitFor waits until an expression is true in the page.
func (r *room) waitFor(js string) {
	r.Helper()
	if !browsertest.Sees(r.ctx, js) {
		r.fail("waited in vain for " + js)
	}
}

// read evaluates an expression.
func (r *room) read(js string) string {
	r.Helper()
	s, err := chromedp.Run(r.ctx, chromedp.Evaluate[string]("String("+js+")"))
	if err != nil {
		r.fail(js + ": " + err.Error())
	}
	return s
}

// await evaluates an expression and waits for its promise.
func (r *room) await(js string) string {
	r.Helper()
	s, err := chromedp.Run(r.ctx, chromedp.Evaluate[string](js, chromedp.EvalAwaitPromise))
	if err != nil {
		r.fail(js + ": " + err.Error())
	}
	return s
}

// shot keeps a picture of the page.
func (r *room) shot(name string, whole bool) string {
	return browsertest.Shot(r.ctx, r, name, whole)
}

// look sets the size of the window and the colours that the reader prefers.
func (r *room) look(width, height int64, scheme string) {
	r.Helper()
	browsertest.Look(r.ctx, r, width, height, scheme)
}

// scripted is a runner that does what the first line of a box says.
type scripted struct{}

func (scripted) RunBox(ctx context.Context, b labpage.Box) (labpage.Result, error) {
	switch first, rest, _ := strings.Cut(strings.TrimPrefix(b.Source, "%%\n"), "\n"); {
	case strings.HasPrefix(first, "// print "):
		b.Output([]byte(strings.TrimPrefix(first, "// print ") + "\n"))
		return labpage.Result{}, nil
	case first == "// endless":
		b.Output([]byte("going round\n"))
		<-ctx.Done()
		return labpage.Result{}, ctx.Err()
	case first == "// wrong":
		return labpage.Result{Trouble: []labpage.Trouble{{Line: 3, Text: "x is not known here"}}}, nil
	case strings.HasPrefix(first, "// frame "):
		b.Exchange([]byte(rest))
		return labpage.Result{}, nil
	}
	return labpage.Result{}, nil
}
