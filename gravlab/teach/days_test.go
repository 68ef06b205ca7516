package teach

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
)

// A browser in which scripts are off says what is missing, on a student's address and on the
// lecturer's.
func TestScriptsOff(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	w := browsers(t, s.http.URL)()
	if _, err := chromedp.Call(w.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true}); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{"/": "The labs need scripts", "/lab/" + lab01: "The labs need scripts", "/lecturer": "This page needs scripts"} {
		w.open(s.http.URL + path)
		text, err := chromedp.Run(w.ctx, chromedp.Evaluate[string](`document.body.innerText`))
		if err != nil || !strings.Contains(text, want) {
			t.Errorf("%s without scripts: %q %v", path, text, err)
		}
	}
}

// A proxy that holds every answer back until it is whole changes nothing but the moment at
// which it comes: a box's output, a verdict and the lecturer's page arrive. The program asks it
// not to.
func TestProxyThatBuffers(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	to, err := url.Parse(s.http.URL)
	if err != nil {
		t.Fatal(err)
	}
	asked := make(chan string, 1)
	front := httptest.NewServer(&httputil.ReverseProxy{
		Rewrite: func(r *httputil.ProxyRequest) {
			r.SetURL(to)
			r.Out.Host = to.Host
			r.Out.Header.Set("Origin", to.String())
		},
		ModifyResponse: func(r *http.Response) error {
			if strings.HasSuffix(r.Request.URL.Path, "/run") {
				asked <- r.Header.Get("X-Accel-Buffering")
			}
			whole, err := io.ReadAll(r.Body)
			r.Body.Close()
			r.Body = io.NopCloser(bytes.NewReader(whole))
			return err
		},
	})
	defer front.Close()
	inner := s.http
	s.http = front
	ada, l := s.student(0), s.lecturer()
	_, _, text := ada.send("POST", ada.lab+"/run", `{"tab":"a","cell":"code-06","source":"// through"}`, nil)
	if !strings.Contains(text, "// through") || !strings.Contains(text, `"end":true`) {
		t.Errorf("a box through the proxy: %.300s", text)
	}
	if got := <-asked; got != "no" {
		t.Errorf("the proxy is not asked to pass on what comes: %q", got)
	}
	if got := ada.answer("kappa", s.right(0, "kappa")); got != "right" {
		t.Errorf("an answer through the proxy: %q", got)
	}
	if v := l.overview(); v.Students[0].Cells[lab01]["kappa"].Outcome != "right" {
		t.Errorf("the lecturer sees %+v", v.Students[0].Cells)
	}
	s.http = inner
}

// A class key that is none, or that of another class, is refused before anything changes.
func TestKeyOfAnother(t *testing.T) {
	dir := t.TempDir()
	o := options(t, dir)
	s := serve(t, o)
	sheet := filepath.Join(o.Data, "sheets", lab01, "s1", lab01+".ipynb")
	before, err := os.ReadFile(sheet)
	if err != nil {
		t.Fatal(err)
	}
	s.class.Close()
	o.Address = s.http.URL
	for name, text := range map[string]string{"none": "not a key\n", "another": strings.Repeat("0123456789abcdef", 4) + "\n"} {
		bad := o
		bad.KeyFile = filepath.Join(dir, name+".key")
		if err := os.WriteFile(bad.KeyFile, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		c, _, err := New(context.Background(), bad)
		if err == nil {
			c.Close()
			t.Errorf("the key %q is taken", name)
			continue
		}
		t.Log(err)
		if after, _ := os.ReadFile(sheet); string(after) != string(before) {
			t.Errorf("the key %q has changed a sheet", name)
		}
	}
	// With the right one it goes on.
	c, _, err := New(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	c.Close()
}

// What a file of the folder holds that the program did not write is told with what to do.
func TestSpoiltFolder(t *testing.T) {
	for name, want := range map[string]string{"codes.json": "put back a copy", "hour.json": "put back a copy"} {
		o := options(t, t.TempDir())
		s := serve(t, o)
		s.class.Close()
		if err := os.WriteFile(filepath.Join(o.Data, name), []byte("{"), 0o600); err != nil {
			t.Fatal(err)
		}
		o.Address = s.http.URL
		c, _, err := New(context.Background(), o)
		if err == nil {
			c.Close()
		}
		if got := fmt.Sprint(err); !strings.Contains(got, want) || !strings.Contains(got, name) {
			t.Errorf("%s: %s, want %q", name, got, want)
		}
	}
}
