package apparatus

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
)

const testPage = `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>apparatus</title><link rel="stylesheet" href="/apparatus.css"></head>
<body style="--sans: sans-serif"><section id="apparatus" style="max-width:34rem;margin:1rem"></section>
<script type="module">import { mount } from "/apparatus.js"; window.ready = await mount(document.getElementById("apparatus"), location.hash.slice(1), "/");</script></body></html>`

// browser starts Chromium without anything of the user's. It skips where there
// is none, and fails in CI.
func browser(t *testing.T) context.Context {
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		if os.Getenv("CI") == "true" {
			t.Fatal("CI must have Chromium (Debian's package chromium)")
		}
		t.Skip("needs Chromium (Debian's package chromium), which is not on the PATH")
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true), chromedp.UserDataDir(t.TempDir()))
	allocator, cancel := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(cancel)
	ctx, cancel := chromedp.NewContext(allocator)
	t.Cleanup(cancel)
	// The first use starts the browser, which must not have the time limit.
	if err := chromedp.Do(ctx); err != nil {
		t.Fatal(err)
	}
	ctx, cancel = context.WithTimeout(ctx, 5*time.Minute)
	t.Cleanup(cancel)
	return ctx
}

// TestInTheBrowser compares every number that the browser shows with the model's
// own, as each scene starts and after a slider has moved.
func TestInTheBrowser(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the apparatus for the browser and starts Chromium")
	}
	ctx := browser(t)
	dir := t.TempDir()
	if err := Build(ctx, "../../..", dir); err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	serve := func(path, mime string, body []byte) {
		mux.HandleFunc(path, func(w http.ResponseWriter, _ *http.Request) { w.Header().Set("Content-Type", mime); w.Write(body) })
	}
	serve("/{$}", "text/html; charset=utf-8", []byte(testPage))
	serve("/apparatus.js", "text/javascript", Script)
	serve("/apparatus.css", "text/css", Style)
	for _, name := range []string{WasmFile, ExecFile} {
		body, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		serve("/"+name, map[string]string{WasmFile: "application/wasm", ExecFile: "text/javascript"}[name], body)
	}
	server := httptest.NewServer(mux)
	defer server.Close()

	for _, s := range Scenes() {
		// The scene is stopped first: its time then stands still.
		stop := `[...document.querySelectorAll(".a-buttons button")].filter(b => b.textContent === "Pause").forEach(b => b.click())`
		if err := chromedp.Do(ctx, chromedp.Navigate("about:blank"), chromedp.Navigate(server.URL+"/#"+s.Labs[0])); err != nil {
			t.Fatal(err)
		}
		// On a busy machine the page that is left may end while it is asked.
		_, err := chromedp.Run(ctx, chromedp.Poll[bool]("window.ready === true"))
		for try := 0; try < 5 && err != nil && strings.Contains(err.Error(), "Cannot find context"); try++ {
			_, err = chromedp.Run(ctx, chromedp.Poll[bool]("window.ready === true"))
		}
		if err != nil {
			t.Fatalf("%s: %v", s.ID, err)
		}
		if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](stop)); err != nil {
			t.Fatal(err)
		}
		compare(ctx, t, s, nil)
		c := s.Controls[0]
		value := min(c.Start+3*c.Step, c.Max)
		move := fmt.Sprintf(`{const i = document.getElementById("a-%s-%s"); i.value = %g; i.dispatchEvent(new Event("input"))}`, s.ID, c.ID, value)
		if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](move)); err != nil {
			t.Fatal(err)
		}
		compare(ctx, t, s, map[string]float64{c.ID: value})
		everywhere(ctx, t, s)
		dragged(ctx, t, s)
		if folder := os.Getenv("LOOK"); folder != "" {
			if err := chromedp.Do(ctx, chromedp.EmulateViewport(620, 1100)); err != nil {
				t.Fatal(err)
			}
			picture, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
			if err != nil {
				t.Fatal(err)
			}
			os.WriteFile(filepath.Join(folder, s.ID+".png"), picture, 0o644)
		}
	}
}

// everywhere compares the numbers of the program in the browser with the model's at 200 settings
// and times.
func everywhere(ctx context.Context, t *testing.T, s Scene) {
	t.Helper()
	rng := rand.New(rand.NewPCG(16, 200))
	var sets []map[string]float64
	var times []float64
	for set := range settingsOf(s) {
		if len(sets) < 200 {
			sets, times = append(sets, set), append(times, math.Round(1000*rng.Float64()*max(1, s.Speed)*20)/1000)
		}
	}
	asked, err := json.Marshal([]any{sets, times})
	if err != nil {
		t.Fatal(err)
	}
	// JSON of each number's value, since numbers that are not finite have none.
	script := fmt.Sprintf(`(() => { const [sets, times] = %s; return JSON.stringify(sets.map((set, i) => {
		const state = JSON.parse(gravlabApparatus(%q, JSON.stringify(set), times[i]));
		return state.error ? {} : Object.fromEntries(state.numbers.map((n) => [n.id, n.value])) })) })()`, asked, s.ID)
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](script))
	if err != nil {
		t.Fatal(err)
	}
	var shown []map[string]float64
	if err := json.Unmarshal([]byte(text), &shown); err != nil || len(shown) != len(sets) {
		t.Fatal(s.ID, err, len(shown))
	}
	told := 0
	for i, set := range sets {
		want, err := s.At(set, times[i])
		if err != nil {
			if len(shown[i]) > 0 {
				t.Errorf("%s, %v: the browser shows numbers, the model says %v", s.ID, set, err)
			}
			continue
		}
		for _, n := range want.Numbers {
			if got, ok := shown[i][n.ID]; (!ok || math.Abs(got-n.Value) > 1e-9*math.Abs(n.Value)+1e-12) && told < 3 {
				told++
				t.Errorf("%s, %v at %g: %s is %.12g in the browser, %.12g in the model", s.ID, set, times[i], n.ID, got, n.Value)
			}
		}
	}
}

// dragged presses a pointer in each area of what is dragged, and wants the value of that place.
func dragged(ctx context.Context, t *testing.T, s Scene) {
	t.Helper()
	asked := `gravlabApparatus("` + s.ID + `", JSON.stringify(Object.fromEntries([...document.querySelectorAll(".a-controls input, .a-controls select")].map((i) => [i.id.slice("a-` + s.ID + `-".length), Number(i.value)]))), Number(document.getElementById("apparatus").dataset.time))`
	for k, n := 0, 1; k < n; k++ { // a drag may move where the next one lies
		text, err := chromedp.Run(ctx, chromedp.Evaluate[string](asked))
		if err != nil {
			t.Fatal(err)
		}
		var state State
		if err := json.Unmarshal([]byte(text), &state); err != nil {
			t.Fatal(err)
		}
		n = len(state.Drags)
		d := state.Drags[k]
		const share = 0.7
		place := d.Places[0] + share*(d.Places[len(d.Places)-1]-d.Places[0])
		x, y := place, (d.Area[1]+d.Area[3])/2
		if d.Down {
			x, y = (d.Area[0]+d.Area[2])/2, place
		}
		press := fmt.Sprintf(`(() => {
			const picture = document.querySelector("#apparatus svg"), p = new DOMPoint(%g, %g).matrixTransform(picture.getScreenCTM());
			picture.setPointerCapture = () => {}; // the pointer is made up
			picture.dispatchEvent(new PointerEvent("pointerdown", { clientX: p.x, clientY: p.y, button: 0 }));
			picture.dispatchEvent(new PointerEvent("pointerup", {}));
			const input = document.getElementById("a-%s-%s");
			return input ? input.value : document.getElementById("apparatus").dataset.time;
		})()`, x, y, s.ID, d.Control)
		got, err := chromedp.Run(ctx, chromedp.Evaluate[string](press))
		if err != nil {
			t.Fatal(err)
		}
		want, step := valueAt(d, place), 1e-6*d.Values[len(d.Values)-1]
		for _, c := range s.Controls {
			if c.ID == d.Control {
				step = c.Step
			}
		}
		if value, err := strconv.ParseFloat(got, 64); err != nil || math.Abs(value-want) > step {
			t.Errorf("%s: a pointer at %g sets %s to %s, want %g", s.ID, place, d.Control, got, want)
		}
	}
}

func compare(ctx context.Context, t *testing.T, s Scene, set map[string]float64) {
	t.Helper()
	at, err := chromedp.Run(ctx, chromedp.Evaluate[string](`document.getElementById("apparatus").dataset.time`))
	if err != nil {
		t.Fatal(err)
	}
	shown, err := chromedp.Run(ctx, chromedp.Evaluate[map[string]string](`Object.fromEntries([...document.querySelectorAll(".a-numbers dd")].map(d => [d.dataset.id, d.dataset.value + "|" + d.textContent]))`))
	if err != nil {
		t.Fatal(err)
	}
	now, err := strconv.ParseFloat(at, 64)
	if err != nil {
		t.Fatalf("%s: the time is %q", s.ID, at)
	}
	want, err := s.At(set, now)
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range want.Numbers {
		number, text, _ := strings.Cut(shown[n.ID], "|")
		value, err := strconv.ParseFloat(number, 64)
		if err != nil {
			t.Errorf("%s: %s is shown as %q", s.ID, n.ID, shown[n.ID])
			continue
		}
		if math.Abs(value-n.Value) > 1e-9*math.Abs(n.Value)+1e-15 {
			t.Errorf("%s: %s is %.12g in the browser, %.12g in the model", s.ID, n.ID, value, n.Value)
		}
		if text != n.Text {
			t.Errorf("%s: %s is shown as %q, want %q", s.ID, n.ID, text, n.Text)
		}
	}
}
