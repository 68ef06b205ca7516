package teach

import (
	"bytes"
	"context"
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

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page"
	"gravity.example/gravlab/wire"
)

const lab01 = "01-weighing-the-earth"

// echo is a runner that prints the box and lets it exchange what it says.
type echo struct{}

func (echo) RunBox(ctx context.Context, b page.Box) (page.Result, error) {
	if b.Idle { // a figure that opens with the lab: it draws none
		return page.Result{Trouble: []page.Trouble{{Text: "no figure"}}}, nil
	}
	if text, ok := strings.CutPrefix(b.Source, "//frame "); ok {
		var f wire.Frame
		if err := json.Unmarshal([]byte(text), &f.Head); err != nil {
			return page.Result{}, err
		}
		if f.MIME != "" {
			f.Data, f.Text = []byte(f.Text), ""
		}
		in, err := f.Append(nil)
		if err != nil {
			return page.Result{}, err
		}
		reply, err := wire.Decode(b.Exchange(in))
		b.Output(fmt.Appendf(nil, "reply %s %s", reply.Kind, reply.Text))
		return page.Result{}, err
	}
	if strings.HasPrefix(b.Source, "//wait") {
		<-ctx.Done()
		return page.Result{}, ctx.Err()
	}
	b.Output([]byte(b.Source))
	return page.Result{}, nil
}

// options are those of a class of three in a folder.
func options(t testing.TB, dir string) Options {
	t.Helper()
	list := filepath.Join(dir, "class.csv")
	if _, err := os.Stat(list); err != nil {
		if err := os.WriteFile(list, []byte("id,name\ns1,Ada Bell\ns2,\"Berg, Cleo\"\ns3,\"<b>Dan</b> \"\"Eck\"\"\"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return Options{List: list, KeyFile: filepath.Join(dir, "class.key"), Labs: find(t, "01", "00"), Data: filepath.Join(dir, "hour"),
		Notebook: func(l bank.Lab) (*notebook.Notebook, error) {
			return notebook.ReadFile("../../notebooks/"+l.ID+".ipynb", notebook.Options{})
		},
		Door: &door.Door{Pages: Addresses}, Runner: func(page.ConfinedOptions) page.Runner { return echo{} }, Workers: 2, Log: func(s string) { t.Log(s) },
		Mark: func(l bank.Lab, folder string) string { return "gravlab mark " + folder }}
}

func find(t testing.TB, ids ...string) (labs []bank.Lab) {
	t.Helper()
	for _, id := range ids {
		l, err := exercises.Find(id)
		if err != nil {
			t.Fatal(err)
		}
		labs = append(labs, l)
	}
	return labs
}

// A school is a class that is served.
type school struct {
	testing.TB
	class *Class
	http  *httptest.Server
	dir   string
	codes []string // of the cards, in the order of the list
	idea  string   // see wrong
}

func serve(t testing.TB, o Options) *school {
	t.Helper()
	mux := http.NewServeMux()
	h := httptest.NewServer(mux)
	t.Cleanup(h.Close)
	if o.Address == "" {
		o.Address = h.URL
	}
	c, cards, err := New(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { h.CloseClientConnections(); c.Close() })
	mux.Handle("/", c.Handler())
	return &school{TB: t, class: c, http: h, dir: filepath.Dir(o.List), codes: codesIn(t, cards)}
}

var codePattern = regexp.MustCompile(`class="code">([0-9A-Z-]+)<`)

// codesIn reads the codes of the cards in a file.
func codesIn(t testing.TB, cards string) (codes []string) {
	t.Helper()
	if cards == "" {
		return nil
	}
	text, err := os.ReadFile(cards)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range codePattern.FindAllStringSubmatch(string(text), -1) {
		codes = append(codes, m[1])
	}
	return codes
}

// A browser is a student's, the lecturer's, or an attacker's.
type browser struct {
	*school
	cookie, key string
	lab         string // the path of a lab
}

// send sends a request as the page would; header changes it, and empty values are taken out.
func (b *browser) send(method, path, body string, header map[string]string) (int, http.Header, string) {
	b.Helper()
	q, err := http.NewRequest(method, b.http.URL+path, strings.NewReader(body))
	if err != nil {
		b.Fatal(err)
	}
	q.URL.Opaque = path // as it stands, dots and all
	q.URL.RawQuery = ""
	for name, value := range map[string]string{"Origin": b.http.URL, "Sec-Fetch-Site": "same-origin", "Content-Type": "application/json", "X-Gravlab-Key": b.key, "Cookie": b.cookie} {
		q.Header.Set(name, value)
	}
	for name, value := range header {
		switch {
		case name == "Host":
			q.Host = value
		case value == "":
			q.Header.Del(name)
		default:
			q.Header.Set(name, value)
		}
	}
	resp, err := http.DefaultClient.Do(q)
	if err != nil {
		b.Fatal(err)
	}
	defer resp.Body.Close()
	text, _ := io.ReadAll(resp.Body)
	return resp.StatusCode, resp.Header, string(text)
}

// ask sends a request that has to be answered, and decodes the answer.
func (b *browser) ask(method, path, body string, into any) {
	b.Helper()
	status, _, text := b.send(method, path, body, nil)
	if status != http.StatusOK {
		b.Fatalf("%s %s: %d %s", method, path, status, text)
	}
	if into != nil {
		if err := json.Unmarshal([]byte(text), into); err != nil {
			b.Fatalf("%s %s: %v in %.300s", method, path, err, text)
		}
	}
}

// come comes in, with a card's code or the key of the lecturer's address.
func (s *school) come(in map[string]string) *browser {
	s.Helper()
	b := &browser{school: s, lab: "/api/lab/" + lab01}
	body, _ := json.Marshal(in)
	status, header, text := b.send("POST", "/enter", string(body), nil)
	var out struct{ Page string }
	if status != 200 || json.Unmarshal([]byte(text), &out) != nil || out.Page == "" {
		s.Fatalf("entering with %v: %d %s", in, status, text)
	}
	set := header.Get("Set-Cookie")
	for _, want := range []string{"HttpOnly", "SameSite=Strict", "Path=/"} {
		if !strings.Contains(set, want) {
			s.Errorf("the cookie %q lacks %s", set, want)
		}
	}
	b.cookie, _, _ = strings.Cut(set, ";")
	b.key = out.Page
	return b
}

func (s *school) student(i int) *browser {
	s.Helper()
	b := s.come(map[string]string{"code": s.codes[i]})
	b.ask("GET", b.lab+"?tab=a", "", nil)
	return b
}

func (s *school) lecturer() *browser {
	s.Helper()
	_, key, _ := strings.Cut(s.class.Lecturer(), "key=")
	return s.come(map[string]string{"key": key})
}

// answer types an answer and returns the verdict's sign in the list of questions.
func (b *browser) answer(question, fields string) string {
	b.Helper()
	var out struct {
		Standings []struct{ Question, Sign, Outcome string }
	}
	b.ask("POST", b.lab+"/answer", fmt.Sprintf(`{"tab":"a","question":%q,"fields":%s}`, question, fields), &out)
	for _, s := range out.Standings {
		if s.Question == question {
			return s.Outcome
		}
	}
	return ""
}

func (b *browser) overview() (v overview) {
	b.Helper()
	b.ask("GET", "/api/class/now?since=0", "", &v)
	return v
}

// right is the right answer to kappa on a student's sheet, as typed.
func (s *school) right(student int, question string) string {
	lab := s.class.o.Labs[0]
	sheet := lab.Sheet(s.class.code(lab.ID, fmt.Sprintf("s%d", student+1)))
	return fmt.Sprintf(`{"number":"%.6g","unit":"N m/rad"}`, sheet.RightAnswers()[question])
}

// wrong is a wrong option of why-lead, the same idea on each sheet, whatever its letter.
func (s *school) wrong(student int) string {
	s.Helper()
	lab := s.class.o.Labs[0]
	q, _ := lab.Sheet(s.class.code(lab.ID, fmt.Sprintf("s%d", student+1))).Question("why-lead")
	for _, o := range q.Options {
		if !o.Right && (s.idea == "" || s.idea == o.Idea) {
			s.idea = o.Idea
			return fmt.Sprintf(`{"choice":%q}`, o.Letter)
		}
	}
	s.Fatal("why-lead has no wrong option")
	return ""
}

// A class works, and the lecturer sees it.
func TestHourOfThree(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	if len(s.codes) != 3 {
		t.Fatalf("%d cards", len(s.codes))
	}
	l := s.lecturer()
	ada, cleo := s.student(0), s.student(1)
	wrong := []string{`{"number":"1.0e-7","unit":"N m/rad"}`, `{"number":"2.0e-9","unit":"N m/rad"}`, `{"number":"7e-1","unit":"N m/rad"}`}
	for _, w := range wrong {
		ada.answer("kappa", w)
	}
	ada.answer("kappa", wrong[2]) // the same again is no other try
	v := l.overview()
	if got := v.Students[0].Cells[lab01]["kappa"]; got.Tries != 3 || got.Outcome == "right" || !v.Students[0].Here || v.Students[0].At != "kappa" || v.Students[2].Here {
		t.Errorf("after three wrong answers: %+v, %+v", got, v.Students[0])
	}
	if status, _, _ := l.send("GET", fmt.Sprintf("/api/class/now?since=%d", v.Version), "", nil); status != http.StatusNoContent {
		t.Errorf("nothing has changed, and the answer is %d", status)
	}
	for i, b := range []*browser{ada, cleo} {
		if got := b.answer("why-lead", s.wrong(i)); got != "slip" {
			t.Errorf("a wrong option is %s", got)
		}
	}
	v = l.overview()
	if len(v.Rounds) == 0 || v.Rounds[0].Question != "why-lead" || v.Rounds[0].Students != 2 || v.Rounds[0].Remedy == "" || v.Rounds[0].Title == "" {
		t.Errorf("slips that go round: %+v", v.Rounds)
	}

	// Help, a note, an end with extra time.
	cleo.ask("POST", "/api/place/help", `{"on":true}`, nil)
	l.ask("POST", "/api/class/note", `{"note":"  Use SI units.  "}`, nil)
	l.ask("POST", "/api/class/end", `{"on":true,"minutes":0}`, nil)
	l.ask("POST", "/api/class/extra", `{"student":"s2","minutes":10}`, nil)
	s.class.mu.Lock()
	s.class.hour.pass(s.class.ids(), s.class.hour.Ends)
	s.class.mu.Unlock()
	var place struct {
		Note         string
		Help, Frozen bool
		Left         int
	}
	if cleo.ask("GET", "/api/place", "", &place); place.Note != "Use SI units." || !place.Help || place.Frozen || place.Left < 500 {
		t.Errorf("Cleo sees %+v", place)
	}
	if ada.ask("GET", "/api/place", "", &place); !place.Frozen || place.Help {
		t.Errorf("Ada sees %+v", place)
	}
	if v = l.overview(); v.Students[1].Help == "" || v.Students[0].Help != "" || !v.Students[0].Frozen || v.Students[1].Extra != 10 || v.Left != 0 {
		t.Errorf("the lecturer sees %+v", v.Students)
	}
	for _, post := range []string{"save", "answer", "run", "form", "anew"} {
		if status, _, text := ada.send("POST", ada.lab+"/"+post, `{"tab":"a","question":"kappa","cell":"code-06"}`, nil); status != http.StatusForbidden || !strings.Contains(text, "taken in") {
			t.Errorf("%s after the end: %d %s", post, status, text)
		}
	}
	l.ask("POST", "/api/class/helped", `{"student":"s2"}`, nil)
	l.ask("POST", "/api/class/lab", `{"lab":"`+lab01+`","on":false}`, nil)
	if status, _, text := cleo.send("GET", cleo.lab+"?tab=a", "", nil); status != http.StatusForbidden || !strings.Contains(text, "not open now") {
		t.Errorf("a closed lab: %d %s", status, text)
	}
	l.ask("POST", "/api/class/lab", `{"lab":"`+lab01+`","on":true}`, nil)
	l.ask("POST", "/api/class/end", `{"on":false}`, nil)
	if got := ada.answer("kappa", s.right(0, "kappa")); got != "right" {
		t.Errorf("after the end was taken away: %s", got)
	}
	if got := l.overview().Students[0].Cells[lab01]["kappa"]; got.Outcome != "right" || got.Tries != 0 {
		t.Errorf("after the right answer: %+v", got)
	}

	// All of it is there after the program has been started again, and the open tab goes on.
	s.class.Close()
	again, cards, err := New(context.Background(), s.class.o)
	if err != nil || cards != "" {
		t.Fatalf("started again: %q %v", cards, err)
	}
	defer again.Close()
	s2 := *s
	s2.class, s2.http = again, httptest.NewServer(again.Handler())
	defer s2.http.Close()
	ada.school = &s2
	ada.cookie = strings.Replace(ada.cookie, port(s.http.URL), port(s2.http.URL), 1)
	if got := ada.answer("kappa", s.right(0, "kappa")); got != "right" {
		t.Errorf("the old tab after a new start: %s", got)
	}
	l2 := s2.lecturer()
	if v := l2.overview(); v.Note != "Use SI units." || v.Students[1].Cells[lab01]["why-lead"].Outcome != "slip" || v.Students[0].Cells[lab01]["kappa"].Outcome != "right" {
		t.Errorf("after a new start: %+v", v)
	}
}

func port(url string) string { return url[strings.LastIndex(url, ":")+1:] }

// Another card ends the old one, and what it has let in.
func TestAnotherCard(t *testing.T) {
	s := serve(t, options(t, t.TempDir()))
	l, ada := s.lecturer(), s.student(0)
	var card struct{ Code, QR, Address string }
	l.ask("POST", "/api/class/card", `{"student":"s1"}`, &card)
	if status, _, _ := ada.send("GET", ada.lab+"?tab=a", "", nil); status != http.StatusUnauthorized {
		t.Errorf("the browser of the old card is answered with %d", status)
	}
	if status, _, text := ada.send("POST", "/enter", `{"code":"`+s.codes[0]+`"}`, nil); status != http.StatusForbidden {
		t.Errorf("the old card: %d %s", status, text)
	}
	s.codes[0] = card.Code
	s.student(0)
	if !strings.Contains(card.QR, "<svg") {
		t.Errorf("the card has no square: %.80s", card.QR)
	}
	// No code is kept.
	filepath.WalkDir(s.class.o.Data, func(path string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() && !strings.HasPrefix(d.Name(), "cards") {
			text, _ := os.ReadFile(path)
			for _, code := range s.codes {
				if bytes.Contains(text, []byte(code)) || bytes.Contains(text, []byte(strings.ReplaceAll(code, "-", ""))) {
					t.Errorf("%s holds a code", path)
				}
			}
		}
		return nil
	})
}

// Students may be added to the list during the hour; a list that cannot be used changes nothing.
func TestListGrows(t *testing.T) {
	o := options(t, t.TempDir())
	s := serve(t, o)
	ada := s.student(0)
	if err := os.WriteFile(o.List, []byte("id,name\ns1,Ada Bell\ns1,Twice\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	info, _ := os.Stat(o.List)
	s.class.grow(context.Background(), info.ModTime())
	if v := s.lecturer().overview(); len(v.Students) != 3 || !strings.Contains(v.Trouble, "line 3") {
		t.Errorf("a bad list: %d students, %q", len(v.Students), v.Trouble)
	}
	if err := os.WriteFile(o.List, []byte("id,name\ns4,Eve Fell\ns1,Ada Bell\ns2,\"Berg, Cleo\"\ns3,Dan\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	info, _ = os.Stat(o.List)
	s.class.grow(context.Background(), info.ModTime())
	if v := s.lecturer().overview(); len(v.Students) != 4 || v.Students[0].Name != "Eve Fell" || v.Trouble != "" {
		t.Errorf("a longer list: %+v", v.Students)
	}
	s.codes = codesIn(t, filepath.Join(o.Data, "cards-2.html"))
	if len(s.codes) != 1 {
		t.Fatalf("%d new cards", len(s.codes))
	}
	eve := s.student(0)
	for _, b := range []*browser{ada, eve} {
		if got := b.answer("kappa", `{"number":"1","unit":"m"}`); got == "" || got == "blank" {
			t.Errorf("an answer after the list has grown: %q", got)
		}
	}
}

// Sealed sheets: no verdict anywhere.
func TestAssessed(t *testing.T) {
	o := options(t, t.TempDir())
	o.Assessed = true
	s := serve(t, o)
	ada := s.student(0)
	var list struct{ Labs []struct{ Assessed bool } }
	if ada.ask("GET", "/api/labs", "", &list); len(list.Labs) != 2 || !list.Labs[0].Assessed || !list.Labs[1].Assessed {
		t.Errorf("the list does not say that the labs count: %+v", list)
	}
	if got := ada.answer("why-lead", `{"choice":"a"}`); got != "recorded" {
		t.Errorf("an answer is %q", got)
	}
	v := s.lecturer().overview()
	if got := v.Students[0].Cells[lab01]["why-lead"]; got.Outcome != "recorded" || !v.Assessed || len(v.Rounds) > 0 {
		t.Errorf("the lecturer sees %+v", got)
	}
	// A practice sheet of the same student is not theirs here.
	code := bank.StudentCode(s.class.key, lab01, "s1", "")
	ada.ask("POST", ada.lab+"/save", fmt.Sprintf(`{"tab":"a","cells":{"sheet":%q}}`, `var sheet = ask.Sheet("`+lab01+`", "`+string(code)+`")`), nil)
	if _, _, text := ada.send("POST", ada.lab+"/answer", `{"tab":"a","question":"why-lead","fields":{"choice":"a"}}`, nil); strings.Contains(text, "slip") || !strings.Contains(text, "not your sheet") {
		t.Errorf("the practice sheet in an assessed class: %.600s", text)
	}
	// The folder was begun with sealed sheets; it does not become one of practice.
	s.class.Close()
	o.Assessed, o.Address = false, s.http.URL
	if c, _, err := New(context.Background(), o); err == nil {
		c.Close()
		t.Error("the folder of an assessed class is served as practice")
	}
}
