package page_test

import (
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"gravity.example/gravlab/internal/browsertest"
	"gravity.example/gravlab/notebook"
	labpage "gravity.example/gravlab/page"
)

// A caller sends requests to a page as a browser or an attacker would.
type caller struct {
	testing.TB
	server *labpage.Server
	http   *httptest.Server
	cookie string
	key    string
}

func call(t testing.TB, o labpage.Options) *caller {
	t.Helper()
	if o.Data == "" {
		o.Data = t.TempDir()
	}
	if o.Runner == nil {
		o.Runner = scripted{}
	}
	s, err := labpage.New(o)
	if err != nil {
		t.Fatal(err)
	}
	h := httptest.NewServer(s.Handler())
	t.Cleanup(func() {
		h.Close()
		s.Close()
	})
	return &caller{TB: t, server: s, http: h}
}

// host is the page's own.
func (c *caller) host() string { return strings.TrimPrefix(c.http.URL, "http://") }

// once returns the key of a fresh address.
func (c *caller) once() string {
	_, key, _ := strings.Cut(c.server.Address(c.host(), ""), "key=")
	return key
}

// A request and how it differs from an honest one. Empty header values are
// taken out.
type request struct {
	method, path, body string
	header             map[string]string
}

func (c *caller) send(r request) (int, http.Header, string) {
	c.Helper()
	if r.method == "" {
		r.method = "GET"
	}
	q, err := http.NewRequest(r.method, c.http.URL+r.path, strings.NewReader(r.body))
	if err != nil {
		c.Fatal(err)
	}
	// The path goes out as it stands, dots and all.
	q.URL.Opaque, q.URL.RawQuery = r.path, ""
	q.Header.Set("Origin", c.http.URL)
	q.Header.Set("Sec-Fetch-Site", "same-origin")
	q.Header.Set("Content-Type", "application/json")
	q.Header.Set("X-Gravlab-Key", c.key)
	q.Header.Set("Cookie", c.cookie)
	for name, value := range r.header {
		switch {
		case name == "Host":
			q.Host = value
		case value == "":
			q.Header.Del(name)
		default:
			q.Header.Set(name, value)
		}
	}
	client := &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	resp, err := client.Do(q)
	if err != nil {
		c.Fatal(err)
	}
	defer resp.Body.Close()
	body, _ := io.ReadAll(resp.Body)
	return resp.StatusCode, resp.Header, string(body)
}

// enter comes in by a fresh address.
func (c *caller) enter() {
	c.Helper()
	status, header, body := c.send(request{method: "POST", path: "/enter", body: fmt.Sprintf(`{"key":%q}`, c.once())})
	var in struct{ Page string }
	if status != 200 || json.Unmarshal([]byte(body), &in) != nil || in.Page == "" {
		c.Fatalf("entering: %d %s", status, body)
	}
	set := header.Get("Set-Cookie")
	for _, want := range []string{"HttpOnly", "SameSite=Strict", "Path=/"} {
		if !strings.Contains(set, want) {
			c.Errorf("the cookie %q lacks %s", set, want)
		}
	}
	c.cookie, _, _ = strings.Cut(set, ";")
	c.key = in.Page
	if strings.Contains(c.cookie, c.key) {
		c.Error("cookie and key are the same secret")
	}
}

const labPath = "/api/lab/01-weighing-the-earth"

// stillRide is a recording of a device that lies still for 30 s.
var stillRide = func() string {
	var times, zeros, downs []string
	for i := range 30 {
		times, zeros, downs = append(times, fmt.Sprint(i)), append(zeros, "0"), append(downs, "9.8")
	}
	list := func(v []string) string { return "[" + strings.Join(v, ",") + "]" }
	return `"time":` + list(times) + `,"x":` + list(zeros) + `,"y":` + list(zeros) + `,"z":` + list(downs)
}()

// Every address of the page, with what an honest request to it carries.
var everyAddress = []request{
	{path: "/api/labs"},
	{path: "/api/start"},
	{path: labPath + "?tab=a"},
	{path: labPath + "/window/code-12"},
	{method: "POST", path: labPath + "/here", body: `{"tab":"a"}`},
	{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"code-06":"x"}}`},
	{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"kappa","fields":{"number":"1"}}`},
	{method: "POST", path: labPath + "/form", body: `{"tab":"a","question":"kappa","code":true}`},
	{method: "POST", path: labPath + "/run", body: `{"tab":"a","cell":"code-06","source":"// print x"}`},
	{method: "POST", path: labPath + "/figures", body: `{"tab":"a"}`},
	{method: "POST", path: labPath + "/stop", body: `{"tab":"a","cell":"code-06"}`},
	{method: "POST", path: labPath + "/allow", body: `{}`},
	{path: labPath + "/report"},
	{path: labPath + "/frame/none"},
	{path: labPath + "/notebook"},
	{method: "POST", path: labPath + "/bring", body: `{"tab":"a","name":"own.csv","text":"time (s),spot (mm)\n0,1\n"}`},
	{path: labPath + "/recording/own.csv"},
	{method: "POST", path: "/api/lab/07-in-the-lift/record", body: `{"tab":"a",` + stillRide + `}`},
	{method: "POST", path: labPath + "/anew", body: `{"tab":"a"}`},
}

// Each attack is an honest request with one thing wrong; without that it is
// answered.
func TestNobodyElseComesIn(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	for _, r := range everyAddress {
		if status, _, body := c.send(r); status != 200 {
			t.Errorf("honest %s %s: %d %s", r.method, r.path, status, body)
		}
	}
	other := call(t, labpage.Options{Labs: labs})
	other.enter()
	_, port, _ := strings.Cut(c.host(), ":")
	for name, wrong := range map[string]map[string]string{
		"no keys at all":                     {"Cookie": "", "X-Gravlab-Key": ""},
		"the cookie alone":                   {"X-Gravlab-Key": ""},
		"the page's key alone":               {"Cookie": ""},
		"the key of another page":            {"X-Gravlab-Key": other.key},
		"the cookie of another page":         {"Cookie": other.cookie},
		"the cookie's value as key":          {"X-Gravlab-Key": c.cookie[strings.Index(c.cookie, "=")+1:]},
		"a foreign origin":                   {"Origin": "http://evil.example"},
		"an origin on another port":          {"Origin": "http://127.0.0.1:1"},
		"an origin of another scheme":        {"Origin": "https://" + c.host()},
		"an origin of a sandboxed frame":     {"Origin": "null"},
		"a foreign host":                     {"Host": "evil.example:" + port, "Origin": "http://evil.example:" + port},
		"a host that ends like ours":         {"Host": "127.0.0.1.evil.example:" + port, "Origin": "http://127.0.0.1.evil.example:" + port},
		"another site":                       {"Origin": "", "Sec-Fetch-Site": "cross-site"},
		"the same site on another port":      {"Origin": "", "Sec-Fetch-Site": "same-site"},
		"a link from another site":           {"Origin": "", "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"},
		"a WebSocket":                        {"Upgrade": "websocket", "Connection": "Upgrade", "Sec-WebSocket-Key": "x", "Sec-WebSocket-Version": "13"},
		"a WebSocket from another origin":    {"Upgrade": "websocket", "Connection": "Upgrade", "Origin": "http://evil.example"},
		"a form's way of sending, from here": {"Content-Type": "text/plain"},
	} {
		for _, r := range everyAddress {
			if name == "a form's way of sending, from here" && r.method != "POST" {
				continue
			}
			r.header = wrong
			status, header, body := c.send(r)
			if status < 400 || status >= 500 {
				t.Errorf("%s: %s %s gives %d", name, r.method, r.path, status)
			}
			if header.Get("Access-Control-Allow-Origin") != "" || strings.Contains(body, "Weighing") {
				t.Errorf("%s: %s %s tells too much: %s", name, r.method, r.path, body)
			}
		}
	}
	// Asking beforehand, as a browser does for another page, gets no yes.
	status, header, _ := c.send(request{method: "OPTIONS", path: "/api/labs", header: map[string]string{"Origin": "http://evil.example", "Access-Control-Request-Headers": "x-gravlab-key"}})
	if status < 400 || header.Get("Access-Control-Allow-Headers") != "" {
		t.Errorf("a preflight from elsewhere gives %d %v", status, header)
	}
}

// What else listens on this machine may set cookies of our name, and a browser
// sends those of a longer path first. They do not lock the reader out.
func TestCookieOfOurName(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	name, _, _ := strings.Cut(c.cookie, "=")
	for _, cookie := range []string{name + "=foreign; " + c.cookie, c.cookie + "; " + name + "=foreign", name + "=; " + name + "=a; " + c.cookie} {
		if status, _, body := c.send(request{path: "/api/labs", header: map[string]string{"Cookie": cookie}}); status != 200 {
			t.Errorf("with the cookies %q: %d %s", cookie, status, body)
		}
	}
	if status, _, _ := c.send(request{path: "/api/labs", header: map[string]string{"Cookie": name + "=a; " + name + "=b"}}); status != 401 {
		t.Errorf("with foreign cookies of our name alone: %d", status)
	}
}

// The key of an address works once.
func TestOldKey(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	key := c.once()
	body := fmt.Sprintf(`{"key":%q}`, key)
	if status, _, _ := c.send(request{method: "POST", path: "/enter", body: body}); status != 200 {
		t.Errorf("a fresh key: %d", status)
	}
	if status, header, _ := c.send(request{method: "POST", path: "/enter", body: body}); status != 403 || header.Get("Set-Cookie") != "" {
		t.Errorf("the same key again: %d", status)
	}
	for _, body := range []string{`{"key":""}`, `{}`, ``, `{"key":"` + strings.Repeat("0", 32) + `"}`, `[]`} {
		if status, header, _ := c.send(request{method: "POST", path: "/enter", body: body}); status != 403 || header.Get("Set-Cookie") != "" {
			t.Errorf("%q: %d", body, status)
		}
	}
	fresh := fmt.Sprintf(`{"key":%q}`, c.once())
	if status, _, _ := c.send(request{method: "POST", path: "/enter", body: fresh, header: map[string]string{"Origin": "http://evil.example"}}); status != 403 {
		t.Errorf("a fresh key from another page: %d", status)
	}
}

// No name in an address leads to a file.
func TestNoWayToFiles(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	c.enter()
	for _, path := range []string{
		"/asset/../page.go", "/asset/..%2fpage.go", "/asset/%2e%2e%2fpage.go", "/asset/..%5cpage.go", "/asset/shell.html", "/asset/../../../../etc/passwd",
		"/asset/%2fetc%2fpasswd", "/asset/..", "/apparatus/../page.go", "/apparatus/%2e%2e/page.go", "/apparatus/..%2f..%2fgo.mod", "/apparatus//etc/passwd",
		"/api/lab/..%2f..%2fgo.mod/notebook", "/api/lab/%2e%2e/notebook", "/api/lab/" + "%00/notebook", "/frame/../api/labs", "/frame/..%2f..%2fetc", "/lab/a/../../api/labs",
		"/..//..//etc/passwd", "/%2e%2e/%2e%2e/etc/passwd",
	} {
		status, _, body := c.send(request{path: path})
		if status == 200 || strings.Contains(body, "package page") || strings.Contains(body, "root:") || strings.Contains(body, "module gravity") {
			t.Errorf("%s gives %d %.80s", path, status, body)
		}
	}
	for _, r := range []request{
		{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"../../x":"x"}}`},
		{method: "POST", path: labPath + "/save", body: `{"tab":"a","cells":{"text-01":"x"}}`},
		{method: "POST", path: labPath + "/run", body: `{"tab":"a","cell":"text-01","source":"x"}`},
		{method: "POST", path: labPath + "/answer", body: `{"tab":"a","question":"../kappa","fields":{}}`},
	} {
		c.send(request{path: labPath + "?tab=a"})
		if status, _, body := c.send(r); status != 400 {
			t.Errorf("%s %s: %d %s", r.path, r.body, status, body)
		}
	}
}

// The page loads and runs its own files only.
func TestPolicy(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	_, header, body := c.send(request{path: "/", header: map[string]string{"Origin": "", "Sec-Fetch-Site": "none"}})
	policy := header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self' 'wasm-unsafe-eval';", "connect-src 'self';", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'none'"} {
		if !strings.Contains(policy, want) {
			t.Errorf("the policy %q lacks %q", policy, want)
		}
	}
	if strings.Contains(policy, "http") || strings.Contains(policy, "*") {
		t.Errorf("the policy %q lets another host in", policy)
	}
	if m := regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(body, -1); len(m) < 3 {
		t.Error("nothing was looked at")
	} else {
		for _, at := range m {
			if !strings.HasPrefix(at[1], "/asset/") && at[1] != "#main" {
				t.Errorf("the page refers to %q", at[1])
			}
		}
	}
	_, again, _ := c.send(request{path: "/", header: map[string]string{"Origin": "", "Sec-Fetch-Site": "none"}})
	if again.Get("Content-Security-Policy") == policy {
		t.Error("the same nonce twice")
	}
	for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cross-Origin-Opener-Policy": "same-origin"} {
		if header.Get(name) != want {
			t.Errorf("%s is %q", name, header.Get(name))
		}
	}
}

// What is large goes over the wire as gzip to a browser that takes it, and is the same for
// all others.
func TestPacked(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs})
	_, header, plain := c.send(request{path: "/asset/lab.js", header: map[string]string{"Accept-Encoding": "identity"}})
	if header.Get("Content-Encoding") != "" || len(plain) < 2000 {
		t.Fatalf("%d bytes, %q", len(plain), header.Get("Content-Encoding"))
	}
	for range 2 { // the second time from memory
		_, header, body := c.send(request{path: "/asset/lab.js", header: map[string]string{"Accept-Encoding": "gzip"}})
		r, err := gzip.NewReader(strings.NewReader(body))
		if err != nil || header.Get("Content-Encoding") != "gzip" || len(body) > len(plain)/2 {
			t.Fatalf("%d bytes of %d, %q: %v", len(body), len(plain), header.Get("Content-Encoding"), err)
		}
		if text, err := io.ReadAll(r); err != nil || string(text) != plain {
			t.Errorf("unpacked it is another file: %v", err)
		}
	}
}

// hostile is a notebook in which every part tries something.
func hostile(t testing.TB) string {
	t.Helper()
	const script = `<script>document.title='owned';parent.owned=1;top.owned=1;window.owned=1</script><img src=x onerror="window.owned=1;top.owned=1">`
	nb := notebook.New("gravlab", "Go (gravlab)", "go")
	nb.Metadata["title"] = script
	text := notebook.NewCell(notebook.Markdown, "text", "# Title "+script+"\n\n"+script+"\n\n[a](javascript:window.owned=1) [b](data:text/html,<script>1</script>) <a href=\"javascript:window.owned=1\">c</a> ![d](http://evil.example/x.png)\n\n"+
		"[e](//evil.example) [f](file:///etc/passwd) $\\text{"+script+"}$\n\n<svg onload=window.owned=1></svg>\n\n## "+script)
	text.Metadata["gravlab"] = map[string]any{"from": script, "part": "text"}
	raw := notebook.NewCell(notebook.Raw, "raw", script)
	code := notebook.NewCell(notebook.Code, "code", "// "+script)
	svg := `<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10" onload="top.owned=1"><script>top.owned=1</script><image href="http://evil.example/x.png"/></svg>`
	reach := `<script>try{parent.document.title='owned'}catch(e){};try{top.owned=1}catch(e){};try{document.cookie='a=b'}catch(e){};try{localStorage.a=1}catch(e){};fetch('/api/labs');parent.postMessage('x','*')</script>` +
		`<iframe src="/api/labs"></iframe><form action="/enter" method="post"><button>go</button></form><meta http-equiv="refresh" content="0;url=http://evil.example"><b onclick="top.owned=1">x</b>`
	verdict := map[string]any{"outcome": script, "sign": script, "title": script, "understood": script, "message": script}
	show := func(b notebook.Bundle) *notebook.Output {
		return &notebook.Output{Kind: notebook.Display, Data: b, Metadata: map[string]any{"x": script}}
	}
	code.Outputs = []*notebook.Output{
		{Kind: notebook.Stream, Name: "stdout", Text: script},
		{Kind: notebook.Failure, ErrName: script, ErrValue: script, Traceback: []string{script}},
		show(notebook.Bundle{"text/html": reach}),
		show(notebook.Bundle{"text/html": "<p onclick=x>" + script + "</p>"}),
		show(notebook.Bundle{"image/svg+xml": svg, "text/plain": `"><script>top.owned=1</script>`}),
		show(notebook.Bundle{"image/png": `x" onerror="top.owned=1`, "text/plain": "p"}),
		show(notebook.Bundle{"text/markdown": script}),
		show(notebook.Bundle{"application/vnd.gravlab.verdict+json": verdict}),
		show(notebook.Bundle{"image/svg+xml": svg, "application/vnd.gravlab.chart+json": map[string]any{"title": "</script>" + script, "xAxis": []any{}, "yAxis": []any{}}}),
	}
	nb.Cells = []*notebook.Cell{text, raw, code}
	path := filepath.Join(t.TempDir(), `a'"><img src=x onerror=top.owned=1>.ipynb`)
	data, err := nb.Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// What a hostile notebook brings is shown as text or in frames that can do
// nothing; nothing of it runs unasked.
func TestHostileNotebook(t *testing.T) {
	c := call(t, labpage.Options{Labs: labs, Others: []string{hostile(t)}, Web: browsertest.Built(t)})
	c.enter()
	_, _, list := c.send(request{path: "/api/labs"})
	name := regexp.MustCompile(`"name":"(from-[^"]*)"`).FindStringSubmatch(list)
	if name == nil {
		t.Fatalf("the notebook is not in the list: %s", list)
	}
	if !regexp.MustCompile(`^from-[A-Za-z0-9._-]+$`).MatchString(name[1]) {
		t.Errorf("its name in addresses is %q", name[1])
	}
	at := "/api/lab/" + name[1]
	_, _, body := c.send(request{path: at + "?tab=a"})
	var v struct {
		Blocks []struct{ ID, Kind, HTML, Output string }
		Title  string
	}
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		t.Fatal(err)
	}
	if len(v.Blocks) != 3 {
		t.Fatalf("%d blocks", len(v.Blocks))
	}
	tag := regexp.MustCompile(`(?i)<(script|iframe|svg|form|meta|object|embed|link|style|base)\b[^>]*>|<[a-z][^>]*\son[a-z]+=|href="(?:javascript|data|file|//)`)
	frames := 0
	for _, b := range v.Blocks {
		html := b.HTML + b.Output
		for _, m := range tag.FindAllString(withoutText(html), -1) {
			if regexp.MustCompile(`^<iframe class="foreign" sandbox="" title="" src="/frame/[0-9a-f]{32}">$`).MatchString(m) {
				frames++
				continue
			}
			t.Errorf("cell %s lets %q through", b.ID, m)
		}
	}
	if frames != 2 {
		t.Errorf("%d frames, want 2", frames)
	}
	// Its frames have no origin and may do nothing.
	for _, m := range regexp.MustCompile(`/frame/[0-9a-f]{32}`).FindAllString(v.Blocks[2].Output, -1) {
		_, header, _ := c.send(request{path: m, header: map[string]string{"Origin": "", "Sec-Fetch-Dest": "iframe"}})
		policy := header.Get("Content-Security-Policy")
		if !strings.HasPrefix(policy, "sandbox") || !strings.Contains(policy, "default-src 'none'") || strings.Contains(policy, "allow-same-origin") || strings.Contains(policy, "allow-forms") {
			t.Errorf("a frame's policy is %q", policy)
		}
		if status, _, _ := c.send(request{path: m, header: map[string]string{"Cookie": ""}}); status != 401 {
			t.Errorf("a frame without the cookie gives %d", status)
		}
		if status, _, _ := c.send(request{path: m, header: map[string]string{"Origin": "", "Sec-Fetch-Dest": "document"}}); status != 401 {
			t.Errorf("a frame opened by itself gives %d", status)
		}
	}
	// Nothing runs before the reader allows it.
	box := request{method: "POST", path: at + "/run", body: `{"tab":"a","cell":"code","source":"// print ran"}`}
	if status, _, body := c.send(box); status != 403 || strings.Contains(body, "ran") {
		t.Errorf("unasked, its code gives %d %s", status, body)
	}
	c.send(request{method: "POST", path: at + "/allow", body: `{}`})
	if status, _, body := c.send(box); status != 200 || !strings.Contains(body, "ran") {
		t.Errorf("allowed, its code gives %d %s", status, body)
	}
}

// withoutText takes out what stands between tags and in attribute values
// other than addresses: text that looks like a tag is only text.
func withoutText(html string) string {
	return regexp.MustCompile(`(alt|title)="[^"]*"`).ReplaceAllString(html, `$1=""`)
}

// In a real browser too, nothing of the hostile notebook reaches the page, its
// cookies, its storage or the program.
func TestHostileInBrowser(t *testing.T) {
	path := hostile(t)
	r := enter(t, labpage.Options{Labs: labs, Others: []string{path}, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, path)
	r.quiet.Store(true) // the browser says what its policy has stopped
	r.waitFor(`document.querySelectorAll("iframe.foreign").length === 2`)
	if r.o.Web != "" {
		r.click("[data-chart]")
		r.waitFor(`document.querySelector("iframe.chart")`)
	}
	r.await(`new Promise((done) => setTimeout(() => done("waited"), 1500))`)
	for js, want := range map[string]string{
		`window.owned`: "undefined", `document.title === "owned"`: "false", `document.cookie`: "", `localStorage.length`: "0",
		`location.pathname.startsWith("/lab/from-")`:                                                                          "true",
		`[...document.querySelectorAll("iframe")].map((f) => f.contentDocument).filter(Boolean).length`:                       "0",
		`document.querySelectorAll("main script, main svg, main form, main [onerror], main [onclick], main [onload]").length`: "0",
	} {
		if got := r.read(js); got != want {
			t.Errorf("%s is %q, want %q", js, got, want)
		}
	}
	r.waitFor(`document.querySelector(".warning").textContent.includes("comes from elsewhere")`)
	r.click(".warning button")
	r.waitFor(`!document.querySelector(".warning")`)
	r.shot("hostile", true)
}
