package teach

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

var (
	load     = flag.Int("load", 0, "TestLoad: how many scripted students; 0: it is skipped")
	loadTime = flag.Float64("minutes", 2, "TestLoad: for how long")
	thinOnly = flag.Bool("thin", false, "TestLoad: thin boxes only, else 70 % thin, 20 % figures, 10 % fits")
	loops    = flag.Int("loops", 0, "TestLoad: students of these who run endless loops")
)

// Boxes of the load: their code goes into an answer cell or a figure's cell of lab 01.
var loadBoxes = map[string]string{
	"thin":   "%%\nresult := 0.001\nsheet.Number(\"theta\", result, \"rad\")",
	"figure": "%%\nrec := sheet.Recording(\"swing\")\nshow.Plot(\"The light spot\", show.Axis(\"time\", \"s\"), show.Axis(\"position\", \"m\"), show.Points(\"read\", rec.Column(\"time\"), rec.Column(\"spot\")))",
	"fit":    "%%\nrec := sheet.Recording(\"swing\")\nswing := torsion.Recording{Times: rec.Column(\"time\"), Readings: rec.Column(\"spot\"), Lever: torsion.Lever{Distance: 4.2}}\nfmt.Println(gravlab.Must(reduction.Fit(swing, reduction.Window{From: -300, To: 1200})).Period)",
	"loop":   "%%\nfor i := 0; ; i++ {\n\tif i < 0 {\n\t\tbreak\n\t}\n}",
}

// A student of the load.
type scripted struct {
	writer
	lab string
}

// timed sends a request and measures how long its answer takes.
func (s *scripted) timed(method, path, body string) (time.Duration, string, error) {
	q, err := http.NewRequest(method, s.url+path, strings.NewReader(body))
	if err != nil {
		return 0, "", err
	}
	for name, value := range map[string]string{"Origin": s.url, "Content-Type": "application/json", "X-Gravlab-Key": s.key, "Cookie": s.cookie} {
		q.Header.Set(name, value)
	}
	began := time.Now()
	resp, err := s.http.Do(q)
	if err != nil {
		return 0, "", err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s %s: %d %.200s", method, path, resp.StatusCode, text)
	}
	return time.Since(began), string(text), err
}

// figures collects times by kind.
type figures struct {
	mu     sync.Mutex
	times  map[string][]time.Duration
	failed map[string]int
	words  string // of the last failure
}

func (f *figures) note(kind string, d time.Duration, err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if err != nil {
		f.failed[kind]++
		f.words = err.Error()
		return
	}
	f.times[kind] = append(f.times[kind], d)
}

// TestLoad serves a class in a process of its own to scripted students, each of whom opens
// a lab, tells every 5 s that it is there, types an answer every 20 s and runs a box every
// 60 s. It prints what that took, with the processor time of the students beside that of the
// server and its boxes. It asserts only that everyone was answered.
//
//	go test ./gravlab/teach -run TestLoad -v -timeout 1h -load 25 -minutes 10
func TestLoad(t *testing.T) {
	if *load == 0 {
		t.Skip("-load says how many students there are")
	}
	dir := t.TempDir()
	list := "id,name\n"
	for i := range *load {
		list += fmt.Sprintf("s%d,Student %d\n", i+1, i+1)
	}
	if err := os.WriteFile(filepath.Join(dir, "class.csv"), []byte(list), 0o600); err != nil {
		t.Fatal(err)
	}
	p := start(t, dir, "127.0.0.1:0", childRunner+"=confined")
	codes := codesIn(t, p.cards)
	f := &figures{times: map[string][]time.Duration{}, failed: map[string]int{}}
	own := ownTime()
	server := treeTime(p.cmd.Process.Pid)
	end := time.Now().Add(time.Duration(*loadTime * float64(time.Minute)))
	most := watchProcess(p.cmd.Process.Pid, end)
	var all sync.WaitGroup
	for i, code := range codes {
		all.Go(func() {
			looping := i < *loops
			s := &scripted{writer: writer{http: &http.Client{Timeout: 5 * time.Minute, Transport: &http.Transport{MaxConnsPerHost: 6}}, url: p.address}, lab: "/api/lab/" + lab01}
			time.Sleep(time.Duration(rand.Float64() * float64(10*time.Second)))
			resp, err := s.http.Post(p.address+"/enter", "application/json", strings.NewReader(fmt.Sprintf(`{"code":%q}`, code)))
			if err != nil {
				f.note("enter", 0, err)
				return
			}
			var in struct{ Page string }
			json.NewDecoder(resp.Body).Decode(&in)
			resp.Body.Close()
			s.cookie, _, _ = strings.Cut(resp.Header.Get("Set-Cookie"), ";")
			s.key = in.Page
			d, _, err := s.timed("GET", s.lab+"?tab=a", "")
			f.note("open", d, err)
			var mine sync.WaitGroup
			every := func(period time.Duration, do func(n int)) {
				mine.Go(func() {
					time.Sleep(time.Duration(rand.Float64() * float64(period)))
					for n := 0; time.Now().Before(end); n++ {
						began := time.Now()
						do(n)
						time.Sleep(time.Until(began.Add(period)))
					}
				})
			}
			every(5*time.Second, func(int) {
				d, _, err := s.timed("POST", s.lab+"/here", `{"tab":"a","place":"code-06"}`)
				f.note("here", d, err)
			})
			every(4*time.Second, func(int) {
				d, _, err := s.timed("GET", "/api/place", "")
				f.note("place", d, err)
			})
			every(20*time.Second, func(n int) {
				d, _, err := s.timed("POST", s.lab+"/answer", fmt.Sprintf(`{"tab":"a","question":"kappa","fields":{"number":"%d.5e-3","unit":"N m/rad"}}`, n))
				f.note("verdict", d, err)
			})
			period := time.Minute
			if looping {
				period = time.Millisecond
			}
			every(period, func(n int) {
				kind := "thin"
				if r := rand.Float64(); looping {
					kind = "loop"
				} else if !*thinOnly && r > 0.9 {
					kind = "fit"
				} else if !*thinOnly && r > 0.7 {
					kind = "figure"
				}
				body, _ := json.Marshal(map[string]string{"tab": "a", "cell": "theta-answer", "source": loadBoxes[kind]})
				d, text, err := s.timed("POST", s.lab+"/run", string(body))
				if err == nil && kind != "loop" && !strings.Contains(text, `"ok":true`) {
					err = fmt.Errorf("a %s box: %.600s", kind, text)
				}
				f.note("box "+kind, d, err)
			})
			mine.Wait()
		})
	}
	all.Wait()
	var out bytes.Buffer
	fmt.Fprintf(&out, "%d students, %g minutes, %d with endless loops\n", *load, *loadTime, *loops)
	for _, kind := range []string{"open", "here", "place", "verdict", "box thin", "box figure", "box fit", "box loop"} {
		d := f.times[kind]
		if len(d) == 0 {
			continue
		}
		slices.Sort(d)
		fmt.Fprintf(&out, "%-10s %6d  p50 %8.1f ms  p95 %8.1f ms  most %8.1f ms\n", kind, len(d), ms(d[len(d)/2]), ms(d[min(len(d)-1, len(d)*95/100)]), ms(d[len(d)-1]))
	}
	rss, files := most()
	boxes := 0
	for kind, d := range f.times {
		if strings.HasPrefix(kind, "box ") {
			boxes += len(d)
		}
	}
	// With the figures that are drawn before students open a lab, which are boxes too.
	used := (treeTime(p.cmd.Process.Pid) - server).Seconds()
	fmt.Fprintf(&out, "processor time: students %.1f s, server and boxes %.1f s, %.2f s for each box; server at most %d MB and %d descriptors",
		(ownTime() - own).Seconds(), used, used/float64(max(boxes, 1)), rss>>20, files)
	t.Log(out.String())
	for kind, n := range f.failed {
		t.Errorf("%s: %d were not answered: %s", kind, n, f.words)
	}
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

// ownTime is the processor time of this process, and treeTime that of another with those of its
// children that have ended. Both are 0 where the system does not tell.
func ownTime() time.Duration { return statTime("self", false) }

func treeTime(pid int) time.Duration { return statTime(strconv.Itoa(pid), true) }

func statTime(pid string, children bool) time.Duration {
	stat, err := os.ReadFile("/proc/" + pid + "/stat")
	if err != nil {
		return 0
	}
	fields := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:]))
	sum := 0
	for i, name := range []int{14, 15, 16, 17} {
		if i < 2 || children {
			n, _ := strconv.Atoi(fields[name-3])
			sum += n
		}
	}
	return time.Duration(sum) * 10 * time.Millisecond
}

// watchProcess looks at a process once a second; most is what it had at most.
func watchProcess(pid int, end time.Time) (most func() (rss int64, files int)) {
	var mu sync.Mutex
	var rss int64
	var files int
	go func() {
		for ; time.Now().Before(end); time.Sleep(time.Second) {
			status, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
			if err != nil {
				return
			}
			pages, _ := strconv.ParseInt(strings.Fields(string(status))[1], 10, 64)
			open, _ := os.ReadDir(fmt.Sprintf("/proc/%d/fd", pid))
			mu.Lock()
			rss, files = max(rss, pages*int64(os.Getpagesize())), max(files, len(open))
			mu.Unlock()
		}
	}()
	return func() (int64, int) {
		mu.Lock()
		defer mu.Unlock()
		return rss, files
	}
}
