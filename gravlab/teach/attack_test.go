package teach

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gravity.example/gravlab/labserver"
)

// every address, with what an honest student sends to it.
var students = [][3]string{
	{"GET", "/api/labs", ""}, {"GET", "/api/place", ""}, {"POST", "/api/place/help", `{"on":false}`},
	{"GET", "/api/lab/" + lab01 + "?tab=a", ""},
	{"POST", "/api/lab/" + lab01 + "/here", `{"tab":"a","place":"code-06"}`},
	{"POST", "/api/lab/" + lab01 + "/save", `{"tab":"a","cells":{"code-06":"x"}}`},
	{"POST", "/api/lab/" + lab01 + "/answer", `{"tab":"a","question":"kappa","fields":{"number":"1"}}`},
	{"POST", "/api/lab/" + lab01 + "/form", `{"tab":"a","question":"kappa","code":true}`},
	{"POST", "/api/lab/" + lab01 + "/run", `{"tab":"a","cell":"code-06","source":"x"}`},
	{"POST", "/api/lab/" + lab01 + "/stop", `{"tab":"a","cell":"code-06"}`},
	{"GET", "/api/lab/" + lab01 + "/report", ""}, {"GET", "/api/lab/" + lab01 + "/notebook", ""}, {"GET", "/api/lab/" + lab01 + "/frame/none", ""},
	{"POST", "/api/lab/" + lab01 + "/bring", `{"tab":"a","name":"own.csv","text":"time (s),spot (mm)\n0,1\n"}`},
	{"GET", "/api/lab/" + lab01 + "/recording/own.csv", ""},
	{"POST", "/api/lab/" + lab01 + "/anew", `{"tab":"a"}`},
}

// and those of the lecturer.
var lecturers = [][3]string{
	{"GET", "/api/class/now?since=0", ""}, {"POST", "/api/class/note", `{"note":"x"}`}, {"POST", "/api/class/lab", `{"lab":"x","on":true}`},
	{"POST", "/api/class/end", `{}`}, {"POST", "/api/class/extra", `{"student":"s1"}`}, {"POST", "/api/class/helped", `{"student":"s1"}`},
	{"POST", "/api/class/freeze", `{"student":"s1"}`}, {"POST", "/api/class/card", `{"student":"s3"}`}, {"POST", "/api/class/take", `{}`},
}

// Each attack is an honest request with one thing wrong; without that it is answered.
func TestOneStudentAgainstAnother(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada, cleo, l := s.student(0), s.student(1), s.lecturer()
	ada.ask("POST", ada.lab+"/save", `{"tab":"a","cells":{"code-06":"a secret of Ada's"}}`, nil)
	for _, r := range students {
		if status, _, text := cleo.send(r[0], r[1], r[2], nil); status != http.StatusOK || strings.Contains(text, "secret of Ada") {
			t.Errorf("honest %s %s: %d %.200s", r[0], r[1], status, text)
		}
	}
	for _, r := range lecturers[:len(lecturers)-1] {
		if status, _, text := l.send(r[0], r[1], r[2], nil); status != http.StatusOK {
			t.Errorf("honest %s %s: %d %.200s", r[0], r[1], status, text)
		}
	}
	host := strings.TrimPrefix(s.http.URL, "http://")
	both := map[string]map[string]string{
		"nothing":                       {"Cookie": "", "X-Gravlab-Key": ""},
		"the cookie alone":              {"X-Gravlab-Key": ""},
		"the key alone":                 {"Cookie": ""},
		"a foreign origin":              {"Origin": "https://evil.example"},
		"an origin of another scheme":   {"Origin": "https://" + host},
		"the origin of a frame":         {"Origin": "null"},
		"a foreign host":                {"Host": "evil.example:" + port(s.http.URL), "Origin": "http://evil.example:" + port(s.http.URL)},
		"another site":                  {"Origin": "", "Sec-Fetch-Site": "cross-site"},
		"the same site, another port":   {"Origin": "", "Sec-Fetch-Site": "same-site"},
		"a WebSocket":                   {"Upgrade": "websocket", "Connection": "Upgrade"},
		"the cookie's value as the key": {"X-Gravlab-Key": cleo.cookie[strings.Index(cleo.cookie, "=")+1:]},
	}
	attack := func(who *browser, name string, header map[string]string, all [][3]string) {
		for _, r := range all {
			status, h, text := who.send(r[0], r[1], r[2], header)
			if status < 400 || status >= 500 || strings.Contains(text, "secret of Ada") || strings.Contains(text, "Ada Bell") || h.Get("Access-Control-Allow-Origin") != "" {
				t.Errorf("%s: %s %s: %d %.200s", name, r[0], r[1], status, text)
			}
		}
	}
	for name, header := range both {
		attack(cleo, name, header, students)
		attack(l, name, header, lecturers)
	}
	attack(cleo, "Cleo with Ada's cookie", map[string]string{"Cookie": ada.cookie}, students)
	attack(cleo, "Cleo with Ada's key", map[string]string{"X-Gravlab-Key": ada.key}, students)
	attack(ada, "a student as the lecturer", nil, lecturers)
	attack(ada, "a student with the lecturer's cookie", map[string]string{"Cookie": ada.cookie + "; " + l.cookie}, lecturers)
	attack(ada, "a student with the lecturer's key", map[string]string{"X-Gravlab-Key": l.key}, lecturers)
	attack(l, "the lecturer as a student", nil, students)

	// A frame of Ada's is not shown to Cleo, and no path leads to a file.
	page, err := s.class.places[0].open()
	if err != nil || page == nil {
		t.Fatal(err)
	}
	ada.ask("POST", ada.lab+"/save", `{"tab":"a","cells":{"code-06":"a secret of Ada's"}}`, nil)
	for _, at := range []string{"/s1", "/" + path.Join("work", lab01, "s1", lab01+".ipynb"), "/lab/../../codes.json", "/asset/..%2f..%2fcodes.json", "/asset/%2e%2e/codes.json", "/api/lab/..%2fs1", "/api/lab/s1", "/hour.json", "/asset/lecturer.html", "/asset/cards.html", "/asset/shell.html"} {
		for _, b := range []*browser{cleo, {school: s}} {
			if status, _, text := b.send("GET", at, "", nil); strings.Contains(text, "secret of Ada") || strings.Contains(text, `"cards"`) || strings.Contains(text, "{{") || strings.Contains(text, "Ada") {
				t.Errorf("%s: %d %.200s", at, status, text)
			}
		}
	}
	// The lecturer's page without its keys holds nothing.
	if _, _, text := (&browser{school: s}).send("GET", "/lecturer", "", nil); strings.Contains(text, "Ada") {
		t.Error("the lecturer's page names students before it knows who asks")
	}
}

// What Ada's frames hold is shown in her browser alone.
func TestFramesOfAnother(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada, cleo := s.student(0), s.student(1)
	_, _, text := ada.send("POST", ada.lab+"/run", `{"tab":"a","cell":"code-06","source":"//frame {\"kind\":\"show\",\"mime\":\"text/html\",\"text\":\"<script>alert(1)</script>secret\"}"}`, nil)
	at := strings.Index(text, "/frame/")
	if at < 0 {
		t.Fatalf("this output stands in no frame: %.300s", text)
	}
	path := text[at : at+len("/frame/")+32]
	header := map[string]string{"Sec-Fetch-Dest": "iframe", "Origin": "", "X-Gravlab-Key": ""}
	if status, h, _ := ada.send("GET", path, "", header); status != http.StatusOK || !strings.Contains(h.Get("Content-Security-Policy"), "sandbox;") {
		t.Errorf("Ada's own frame: %d", status)
	}
	for name, b := range map[string]*browser{"Cleo": cleo, "nobody": {school: s}, "the lecturer": s.lecturer()} {
		if status, _, text := b.send("GET", path, "", header); status < 400 || strings.Contains(text, "secret") {
			t.Errorf("%s sees Ada's frame: %d", name, status)
		}
	}
}

// A box and a notebook that name another student's sheet get nothing of it.
func TestSheetOfAnother(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada, cleo := s.student(0), s.student(1)
	ada.answer("kappa", s.right(0, "kappa"))
	code := string(s.class.code(lab01, "s1"))
	log := labserver.LogFile(s.class.folder("s1"), lab01, s.class.code(lab01, "s1"))
	before, err := os.ReadFile(log)
	if err != nil {
		t.Fatal(err)
	}
	run := func(frame, name string) string {
		body := fmt.Sprintf(`{"tab":"a","cell":"code-06","source":%q}`, "//frame "+fmt.Sprintf(frame, lab01, name))
		_, _, text := cleo.send("POST", cleo.lab+"/run", body, nil)
		return text
	}
	frames := map[string]string{ // with what an own sheet gives, and what another's does not
		`{"kind":"recording","lab":%q,"code":%q,"name":"swing"}`:                            "reply columns",
		`{"kind":"done","lab":%q,"code":%q}`:                                                "torsion constant of the fibre \\u003ccode",
		`{"kind":"answer","form":"typed","lab":%q,"code":%q,"question":"kappa","text":"0"}`: "outcome quiet",
	}
	for frame, gives := range frames {
		if text := run(frame, string(s.class.code(lab01, "s2"))); !strings.Contains(text, gives) {
			t.Errorf("Cleo's own %s: %.600s", frame, text)
		}
	}
	os.RemoveAll(filepath.Join(s.class.folder("s2"), "answers"))
	for _, name := range []string{code, ""} { // Ada's, and the default one
		for frame, gives := range frames {
			if text := run(frame, name); strings.Contains(text, gives) || !strings.Contains(text, `"end":true`) {
				t.Errorf("%s of %q: %.600s", frame, name, text)
			}
		}
		cleo.ask("POST", cleo.lab+"/save", fmt.Sprintf(`{"tab":"a","cells":{"sheet":%q}}`, fmt.Sprintf(`var sheet = ask.Sheet(%q, %q)`, lab01, name)), nil)
		_, _, text := cleo.send("POST", cleo.lab+"/answer", `{"tab":"a","question":"kappa","fields":`+s.right(0, "kappa")+`}`, nil)
		if !strings.Contains(text, "not your sheet") {
			t.Errorf("a notebook that names the sheet %q: %.300s", name, text)
		}
		var view struct{ Fault string }
		if cleo.ask("GET", cleo.lab+"?tab=a", "", &view); !strings.Contains(view.Fault, "another sheet than yours") {
			t.Errorf("the page does not say so: %q", view.Fault)
		}
	}
	if after, _ := os.ReadFile(log); string(after) != string(before) {
		t.Error("Ada's answers log has changed")
	}
	logs, _ := filepath.Glob(filepath.Join(s.class.folder("s2"), "answers", "*", "*"))
	if len(logs) != 0 {
		t.Errorf("Cleo's folder has the logs %v", logs)
	}
}

// Codes that open nothing are told from others, and guessing ends without locking out the class.
func TestGuessing(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	guess := func(code string) int {
		status, _, _ := (&browser{school: s}).send("POST", "/enter", fmt.Sprintf(`{"code":%q}`, code), nil)
		return status
	}
	mistyped := []byte(strings.ReplaceAll(s.codes[0], "-", ""))
	mistyped[5] = codeLetters[(strings.IndexByte(codeLetters, mistyped[5])+1)%32]
	if got := guess(string(mistyped)); got != http.StatusBadRequest {
		t.Errorf("a mistyped code: %d", got)
	}
	refused := 0
	for range 60 {
		switch got := guess(newCode()); got {
		case http.StatusForbidden:
		case http.StatusTooManyRequests:
			refused++
		default:
			t.Errorf("a guess: %d", got)
		}
	}
	if refused < 20 {
		t.Errorf("of 60 guesses only %d were put off", refused)
	}
	s.student(0) // the right code is taken, from the same address
	// A card whose beginning is known is not found out either.
	put := 0
	for range 15 {
		code := s.codes[1][:4] + newCode()[4:16]
		if guess(code+string(checkLetter([]byte(code)))) == http.StatusTooManyRequests {
			put++
		}
	}
	if put == 0 {
		t.Error("15 guesses at one card, and none is put off")
	}
	s.student(2)
}

// Names in the class list are names and nothing else, on the cards and on the pages.
func TestNamesAreText(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	text, err := os.ReadFile(filepath.Join(s.class.o.Data, "cards.html"))
	if err != nil || strings.Contains(string(text), "<b>Dan") || !strings.Contains(string(text), "&lt;b&gt;Dan") {
		t.Errorf("the cards hold the name as HTML (%v)", err)
	}
	if strings.Contains(string(text), "?code=") || !strings.Contains(string(text), "<svg") {
		t.Error("the cards have no square")
	}
	dan := s.student(2)
	if _, _, shell := dan.send("GET", "/", "", nil); strings.Contains(shell, "<b>Dan") || !strings.Contains(shell, "&lt;b&gt;Dan&lt;/b&gt; &#34;Eck&#34;") {
		t.Errorf("the page holds the name as HTML: %s", shell)
	}
}

// Half requests, and requests without end, do not keep the class from its page.
func TestHalfOpen(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada := s.student(0)
	for range 300 {
		conn, err := net.Dial("tcp", strings.TrimPrefix(s.http.URL, "http://"))
		if err != nil {
			t.Fatal(err)
		}
		defer conn.Close()
		fmt.Fprintf(conn, "POST /enter HTTP/1.1\r\nHost: %s\r\nContent-Length: 100\r\n", strings.TrimPrefix(s.http.URL, "http://"))
	}
	if got := ada.answer("why-lead", s.wrong(0)); got != "slip" {
		t.Errorf("with 300 half requests: %q", got)
	}
	large := `{"tab":"a","cells":{"code-06":"` + strings.Repeat("x", 8<<20) + `"}}`
	if status, _, text := ada.send("POST", ada.lab+"/save", large, nil); status != http.StatusRequestEntityTooLarge || !strings.Contains(text, "8 MB") {
		t.Errorf("8 MB: %d %.200s", status, text)
	}
	if got := ada.answer("why-lead", `{"choice":"b"}`); got == "" {
		t.Error("after 8 MB nothing is taken")
	}
}

// Freezing stops what runs, and takes in what is there then.
func TestTakeIn(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	ada, l := s.student(0), s.lecturer()
	ada.answer("why-lead", `{"choice":"a"}`)
	ended := make(chan string, 1)
	go func() {
		_, _, text := ada.send("POST", ada.lab+"/run", `{"tab":"a","cell":"code-06","source":"//wait"}`, nil)
		ended <- text
	}()
	for { // until it runs
		if running, _ := s.class.queue.length(); running > 0 {
			break
		}
		time.Sleep(time.Millisecond)
	}
	var out struct{ Notebooks int }
	if l.ask("POST", "/api/class/take", `{}`, &out); out.Notebooks != 1 {
		t.Errorf("%d notebooks taken in", out.Notebooks)
	}
	if text := <-ended; !strings.Contains(text, "Stopped") {
		t.Errorf("the box that ran: %.300s", text)
	}
	work := filepath.Join(s.class.work(lab01, "s1"), lab01+".ipynb")
	taken := filepath.Join(s.class.handedIn(lab01), "s1", lab01+".ipynb")
	_, _, handed := ada.send("GET", ada.lab+"/notebook", "", nil)
	for _, path := range []string{work, taken} {
		if text, err := os.ReadFile(path); err != nil || string(text) != handed {
			t.Errorf("%s is not the notebook that the student would hand in (%v)", path, err)
		}
	}
	// A second time keeps the first.
	l.ask("POST", "/api/class/take", `{}`, nil)
	if _, err := os.Stat(s.class.handedIn(lab01) + ".before-1"); err != nil {
		t.Error(err)
	}
}

// Another program cannot work in the same folder meanwhile.
func TestOneProgram(t *testing.T) {
	o := options(t, t.TempDir())
	s := serve(t, o)
	if c, _, err := New(context.Background(), s.class.o); err == nil || !strings.Contains(err.Error(), "end that one first") {
		t.Errorf("a second program: %v", err)
		if c != nil {
			c.Close()
		}
	}
}

// A certificate that does not fit is told before the hour.
func TestCertificates(t *testing.T) {
	dir := t.TempDir()
	one, print, err := OwnCertificate(filepath.Join(dir, "tls"), []string{"192.0.2.1", "lab.example"})
	if err != nil || len(print) != 95 {
		t.Fatalf("%v, fingerprint %q", err, print)
	}
	again, print2, err := OwnCertificate(filepath.Join(dir, "tls"), []string{"192.0.2.1"})
	if err != nil || print2 != print || !again.Leaf.Equal(one.Leaf) {
		t.Errorf("the second start has another certificate (%v)", err)
	}
	if _, print3, err := OwnCertificate(filepath.Join(dir, "tls"), []string{"192.0.2.7"}); err != nil || print3 == print {
		t.Errorf("an address that it does not name: %v", err)
	}
	OwnCertificate(filepath.Join(dir, "other"), []string{"192.0.2.1"})
	cert, key := filepath.Join(dir, "tls", "cert.pem"), filepath.Join(dir, "other", "key.pem")
	for name, c := range map[string][3]string{
		"a key of another":       {cert, key, "do not"},
		"a file that is missing": {filepath.Join(dir, "none.pem"), key, "none.pem"},
		"no PEM":                 {filepath.Join(dir, "x.pem"), key, "PEM"},
		"another name":           {cert, filepath.Join(dir, "tls", "key.pem"), "--address"},
	} {
		os.WriteFile(filepath.Join(dir, "x.pem"), []byte("x"), 0o600)
		if _, err := ReadCertificate(c[0], c[1], []string{"elsewhere.example"}); err == nil || !strings.Contains(err.Error(), c[2]) && name != "a key of another" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Behind a proxy that encrypts: the page's own origin is the proxy's, the cookie is for
// encrypted connections alone, and guesses are counted by the address that the proxy has seen.
func TestBehindProxy(t *testing.T) {
	o := options(t, t.TempDir())
	o.Proxy, o.Door.TLS, o.Door.Hosts, o.Address = true, true, []string{"labs.skelmire.example"}, "https://labs.skelmire.example"
	s := serve(t, o)
	through := func(code, seen string) (int, http.Header) {
		b := &browser{school: s}
		status, h, _ := b.send("POST", "/enter", fmt.Sprintf(`{"code":%q}`, code), map[string]string{"Host": "labs.skelmire.example", "Origin": "https://labs.skelmire.example", "X-Forwarded-For": "203.0.113.9, " + seen})
		return status, h
	}
	if status, h := through(s.codes[0], "192.0.2.1"); status != http.StatusOK || !strings.Contains(h.Get("Set-Cookie"), "Secure") {
		t.Errorf("through the proxy: %d, cookie %q", status, h.Get("Set-Cookie"))
	}
	for range 40 {
		through(newCode(), "192.0.2.66")
	}
	if status, _ := through(newCode(), "192.0.2.66"); status != http.StatusTooManyRequests {
		t.Errorf("after 40 guesses: %d", status)
	}
	if status, _ := through(newCode(), "192.0.2.1"); status != http.StatusForbidden {
		t.Errorf("a wrong code from another address: %d", status)
	}
	b := &browser{school: s}
	if status, _, _ := b.send("POST", "/enter", fmt.Sprintf(`{"code":%q}`, s.codes[0]), nil); status != http.StatusForbidden {
		t.Errorf("past the proxy, under another name: %d", status)
	}
}
