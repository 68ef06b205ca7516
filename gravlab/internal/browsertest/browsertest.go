// Package browsertest is what the tests of pages in a browser share: Chromium, its windows, and
// axe-core.
package browsertest

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/internal/webassets"
)

// Chromium is where Debian's browser is. Without one the test is skipped, and fails in CI.
func Chromium(t testing.TB) string {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is not installed")
		}
		t.Skip("chromium is not installed, so the page cannot be tried in a browser")
	}
	if testing.Short() {
		t.Skip("a browser takes seconds to start")
	}
	return path
}

// Start is the context of a browser with nothing of the user's, which starts when it is first
// used and lives for a time at the most.
func Start(t testing.TB, lives time.Duration, more ...chromedp.ExecAllocatorOption) context.Context {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(Chromium(t)), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(t.TempDir()), chromedp.NoFirstRun,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-background-networking", true), chromedp.Flag("disable-component-update", true),
		chromedp.Flag("disable-sync", true), chromedp.Flag("lang", "en-GB"), chromedp.WindowSize(1280, 900))
	allocator, end := chromedp.NewExecAllocator(context.Background(), append(options, more...)...)
	t.Cleanup(end)
	timed, endTime := context.WithTimeout(allocator, lives)
	t.Cleanup(endTime)
	return timed
}

// Complain fails the test when a script of a tab fails or its policy is broken, unless quiet says
// that this is meant; it may be nil. What the network refuses is the test's own doing.
func Complain(ctx context.Context, t testing.TB, quiet func() bool) {
	console := chromedp.Console(ctx)
	go func() {
		for m, err := range console {
			if err != nil {
				return
			}
			if m.Source != "network" && (m.IsException() || m.Type == "warning" || m.Type == "error") && (quiet == nil || !quiet()) {
				t.Errorf("the page says: %s", m)
			}
		}
	}()
}

// Look sets the size of a window and the colours that the reader prefers, without smooth
// scrolling, so that nothing moves away under the mouse.
func Look(ctx context.Context, t testing.TB, width, height int64, scheme string) {
	t.Helper()
	if _, err := chromedp.Call(ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{Width: width, Height: height, DeviceScaleFactor: 1}); err != nil {
		t.Fatal(err)
	}
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{
		{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-reduced-motion", Value: "reduce"}}}); err != nil {
		t.Fatal(err)
	}
}

// Sees waits, for 20 s at the most, until an expression is true in the page.
func Sees(ctx context.Context, js string) bool {
	for end := time.Now().Add(20 * time.Second); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		once, stop := context.WithTimeout(ctx, 5*time.Second)
		ok, err := chromedp.Run(once, chromedp.Evaluate[bool]("Boolean("+js+")"))
		stop()
		if err == nil && ok {
			return true
		}
	}
	return false
}

// Shot keeps a picture of the page where $GRAVLAB_SHOTS says, or in the test's folder, and
// returns its path.
func Shot(ctx context.Context, t testing.TB, name string, whole bool) string {
	dir := os.Getenv("GRAVLAB_SHOTS")
	if dir == "" {
		dir = t.TempDir()
	}
	take := chromedp.CaptureScreenshot()
	if whole {
		take = chromedp.FullScreenshot(100)
	}
	picture, err := chromedp.Run(ctx, take)
	if err != nil {
		return "no picture"
	}
	path := filepath.Join(dir, name+".png")
	os.WriteFile(path, picture, 0o644)
	return path
}

// Axe has axe-core, of the folder of the built editor, look at the page as it is now, by the rules
// of WCAG 2.2 AA. So many rules at the least must have been of use.
func Axe(ctx context.Context, t testing.TB, web, where string, least int) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(web, webassets.Axe))
	if err != nil {
		t.Fatal(err)
	}
	// The protocol evaluates past the page's policy, as an extension would.
	if err := chromedp.Do(ctx, chromedp.Evaluate[chromedp.Void](string(text)+"\n;0")); err != nil {
		t.Fatal(err)
	}
	found, err := chromedp.Run(ctx, chromedp.Evaluate[string](`axe.run(document, { iframes: false, runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((r) => JSON.stringify({
		passes: r.passes.length, violations: r.violations.map((v) => v.id + ": " + v.help + ": " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200) + " | " + (n.any[0]?.message ?? "")).join(" ;; ")) }))`, chromedp.EvalAwaitPromise))
	if err != nil {
		t.Fatal(err)
	}
	var result struct {
		Passes     int
		Violations []string
	}
	if err := json.Unmarshal([]byte(found), &result); err != nil {
		t.Fatal(err)
	}
	if result.Passes < least {
		t.Errorf("%s: axe looked at %d rules only", where, result.Passes)
	}
	for _, v := range result.Violations {
		t.Errorf("%s: %s", where, v)
	}
}

// Built is the folder of the built editor and of axe-core; it is built if need be. Without npm it
// is empty, and the test fails in CI.
func Built(t testing.TB) string {
	t.Helper()
	dir, err := webassets.Build(context.Background(), func(s string) { t.Log(s) })
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Logf("without the built editor: %v", err)
		return ""
	}
	return dir
}
