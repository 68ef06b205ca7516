package term

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/judge"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/wire"
)

// The tests have five labs of their own, each with two questions whose worked answers are numbers
// and letters, so that a runner of the tests' own can submit them.
func plumbLab(i int, rel float64) bank.Lab {
	return bank.Lab{ID: fmt.Sprintf("%d-plumb-line", 91+i), Title: fmt.Sprintf("Plumb line %d", i+1), Minutes: 10, Build: func(d *bank.Draw) bank.Sheet {
		length := d.Between("length", 0.6, 1.4, 0.05)
		period := 2 * math.Pi * math.Sqrt(length/9.81)
		return bank.Sheet{Questions: []bank.Question{
			{ID: "period", Kind: judge.KindNumber, Marks: 3, Title: "Period", Prompt: fmt.Sprintf("A bob hangs %.2f m below its hook. How long is a full swing?", length), Unit: "s",
				Tol: judge.Tolerance{Rel: rel, Why: "digits"}, Solve: func(bank.Answers) float64 { return period }, Hints: [2]string{"A root.", "2π times a root."},
				Worked: fmt.Sprintf("%%%%\nsheet.Number(\"period\", %v, \"s\")", period)},
			{ID: "mass", Kind: judge.KindChoice, Marks: 1, Title: "Mass", Prompt: "Does a heavier bob swing faster?",
				Options: []judge.Option{{Letter: "a", Text: "no", Right: true}, {Letter: "b", Text: "yes", Idea: "The pull grows with the mass, and so does the inertia."}},
				Worked:  "%%\nsheet.Choice(\"mass\", \"a\")"},
		}}
	}}
}

var (
	numberCall = regexp.MustCompile(`sheet\.Number\(\\?"(\w+)\\?", ([0-9.e+-]+), \\?"(\w+)\\?"\)`)
	choiceCall = regexp.MustCompile(`sheet\.Choice\(\\?"(\w+)\\?", \\?"(\w+)\\?"\)`)
)

// submit is a runner that submits the numbers and letters that stand in a notebook, as its program
// would.
func submit(_ context.Context, job sandbox.Job) (sandbox.Outcome, error) {
	text := string(job.Notebook)
	declared := notebook.Declarations(text, 1)
	if len(declared) == 0 {
		return sandbox.Outcome{}, errors.New("no sheet is declared")
	}
	exchange, err := job.Session(sandbox.Sheet{Lab: declared[0].Lab, Code: declared[0].Code})
	if err != nil {
		return sandbox.Outcome{}, err
	}
	send := func(f wire.Frame) error {
		f.Kind, f.Lab, f.Code = wire.Answer, declared[0].Lab, declared[0].Code
		frame, err := f.Append(nil)
		if err == nil {
			exchange(frame)
		}
		return err
	}
	for _, m := range numberCall.FindAllStringSubmatch(text, -1) {
		v, err := strconv.ParseFloat(m[2], 64)
		if err == nil {
			err = send(wire.Frame{Head: wire.Head{Question: m[1], Form: wire.FormNumber, Unit: m[3]}, Numbers: []float64{v, 0}})
		}
		if err != nil {
			return sandbox.Outcome{}, err
		}
	}
	for _, m := range choiceCall.FindAllStringSubmatch(text, -1) {
		if err := send(wire.Frame{Head: wire.Head{Question: m[1], Form: wire.FormChoice, Text: m[2]}}); err != nil {
			return sandbox.Outcome{}, err
		}
	}
	return sandbox.Outcome{}, nil
}

// victim names the variable that makes this test's program work through a term in a folder and
// nothing else.
const victim = "GRAVLAB_TERM"

func TestMain(m *testing.M) {
	for i := range 5 {
		if err := exercises.Add(plumbLab(i, 0.005)); err != nil {
			panic(err)
		}
	}
	if dir := os.Getenv(victim); dir != "" {
		if err := evening(context.Background(), dir); err != nil {
			panic(err)
		}
		return
	}
	os.Exit(m.Run())
}

// evening marks all labs of a term in a folder, adds them up and writes the results.
func evening(ctx context.Context, dir string) error {
	class, err := marking.ReadClass(filepath.Join(dir, "class.csv"))
	if err != nil {
		return err
	}
	key, _, err := marking.ReadKey(filepath.Join(dir, "class.key"))
	if err != nil {
		return err
	}
	for i := range 5 {
		if err := markOne(ctx, dir, class, key, i, false); err != nil {
			return err
		}
	}
	rules, err := ReadRules(filepath.Join(dir, "rules.csv"), class)
	if err != nil {
		return err
	}
	roster, err := ReadRoster(filepath.Join(dir, "roster.zip"))
	if err != nil {
		return err
	}
	taught, err := roster.Class("PHYS-2A")
	if err != nil {
		return err
	}
	r, err := Total{Class: class, Rules: rules, Out: filepath.Join(dir, "out", "term"), Roster: roster, Taught: taught}.Write(ctx)
	if err == nil && len(r.Remarks) > 0 {
		err = fmt.Errorf("remarks: %q", r.Remarks)
	}
	return err
}

func markOne(ctx context.Context, dir string, class marking.Class, key []byte, i int, again bool) error {
	_, err := marking.Mark(ctx, marking.Marking{Class: class, Key: key, Records: filepath.Join(dir, "class.key"), JudgeAgain: again,
		Returned: []string{filepath.Join(dir, fmt.Sprintf("returned-%d.zip", 91+i))}, Out: filepath.Join(dir, "out", fmt.Sprintf("marks-%d", 91+i)),
		Start: func(context.Context) (marking.Runner, error) { return submit, nil }, Workers: 2})
	return err
}

// rosterSet is a OneRoster set with two classes; the first has n students, who have odd names.
func rosterSet(n int) map[string]string {
	const two = ",,"
	set := map[string]string{
		"orgs.csv":             "sourcedId,status,dateLastModified,name,type,identifier,parentSourcedId\r\nskelmire" + two + ",Skelmire College,school,,\r\n",
		"academicSessions.csv": "sourcedId,status,dateLastModified,title,type,startDate,endDate,parentSourcedId,schoolYear\r\ny27" + two + ",2026/27,schoolYear,2026-09-01,2027-08-01,,2027\r\nt1" + two + ",Autumn,term,2026-09-01,2026-12-20,y27,2027\r\nt2" + two + ",Spring,term,2027-01-05,2027-04-01,y27,2027\r\n",
		"courses.csv":          "sourcedId,status,dateLastModified,schoolYearSourcedId,title,courseCode,grades,orgSourcedId,subjects,subjectCodes\r\nphys2" + two + ",y27,Physics 2,PHYS-2,,skelmire,,\r\n",
		"classes.csv":          "sourcedId,status,dateLastModified,title,grades,courseSourcedId,classCode,classType,location,schoolSourcedId,termSourcedIds,subjects,subjectCodes,periods\r\nclass-2a" + two + ",\"Physics 2, group A\",,phys2,PHYS-2A,scheduled,,skelmire,\"t2,t1\",,,\r\nclass-2b" + two + ",\"Physics 2, group B\",,phys2,PHYS-2B,scheduled,,skelmire,t1,,,\r\n",
	}
	users := "sourcedId,status,dateLastModified,enabledUser,username,userIds,givenName,familyName,middleName,identifier,email,sms,phone,agentSourcedIds,grades,password,userMasterIdentifier,preferredGivenName,preferredMiddleName,preferredFamilyName,primaryOrgSourcedId,pronouns\r\n"
	enrollments := "sourcedId,status,dateLastModified,classSourcedId,schoolSourcedId,userSourcedId,role,primary,beginDate,endDate\r\n"
	user := func(id, identifier, given, family, preferred, class, role string) {
		users += fmt.Sprintf("%s,,,true,%s,,%s,%s,,%s,,,,,,,,%s,,,skelmire,\r\n", id, strings.ToLower(given)+identifier, given, family, identifier, preferred)
		enrollments += fmt.Sprintf("e-%s,,,%s,skelmire,%s,%s,,,\r\n", id, class, id, role)
	}
	user("u-teacher", "", "Ina", "Jung", "", "class-2a", "teacher")
	first := []string{"Ada", "Zoë", "Gus", "Éva"}
	last := []string{"Bell", "Brûlé-Ångström", "\"Berg, jr\"", "Eck", "Noor", "Pine"}
	for i := range n {
		preferred := ""
		if i == 3 {
			preferred = "Dan"
		}
		user(fmt.Sprintf("u/%04d", i+1), fmt.Sprintf("%04d", i+1), first[i%4], last[i/4%6], preferred, "class-2a", "student")
	}
	user("u-other", "9001", "Rae", "Stone", "", "class-2b", "student")
	set["users.csv"], set["enrollments.csv"] = users, enrollments
	manifest := "propertyName,value\r\n"
	for _, f := range fieldsOf(manifestFile) {
		name, isFile := strings.CutPrefix(f.name, "file.")
		switch {
		case isFile && set[name+".csv"] != "":
			manifest += f.name + ",bulk\r\n"
		case isFile:
			manifest += f.name + ",absent\r\n"
		case len(f.permitted) > 0:
			manifest += f.name + "," + f.permitted[0] + "\r\n"
		}
	}
	set["manifest.csv"] = manifest
	return set
}

func putSet(t testing.TB, path string, set map[string]string) {
	t.Helper()
	var files []file
	for name, text := range set {
		files = append(files, file{name, []byte(text)})
	}
	if err := writeZip(path, files); err != nil {
		t.Fatal(err)
	}
}

// newTerm makes a folder with everything that a lecturer has before the evening: class list, key,
// what was handed in, rules.
func newTerm(t *testing.T) (dir string, marks [5]map[string]float64) {
	t.Helper()
	dir = t.TempDir()
	putSet(t, filepath.Join(dir, "roster.zip"), rosterSet(24))
	roster, err := ReadRoster(filepath.Join(dir, "roster.zip"))
	if err != nil || len(roster.Remarks) > 0 {
		t.Fatal(err, roster.Remarks)
	}
	taught, err := roster.Class("PHYS-2A")
	if err != nil {
		t.Fatal(err)
	}
	list := filepath.Join(dir, "class.csv")
	if err := roster.WriteClass(taught, ByIdentifier, list); err != nil {
		t.Fatal(err)
	}
	class, err := marking.ReadClass(list)
	if err != nil {
		t.Fatal(err)
	}
	if s := class.Students; len(s) != 24 || s[0].ID != "0001" || s[1].Name != "Zoë Bell" || s[3].Name != "Dan Bell" || s[8].Name != "Ada Berg, jr" || s[5].Other[0] != "u/0006" {
		t.Errorf("the class list has %+v", s)
	}
	keyFile := filepath.Join(dir, "class.key")
	key, _, _, err := marking.MakeKey(keyFile)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 5 {
		lab := plumbLab(i, 0.005)
		h := marking.Handout{Class: class, Lab: lab, Notebook: marking.PlainNotebook(lab), Key: key, Assessed: true, Record: marking.KeptPath(keyFile, lab, "", true), Out: filepath.Join(dir, "handout-"+lab.Number())}
		if _, err := h.Write(t.Context()); err != nil {
			t.Fatal(err)
		}
		h.Answers, h.Out, h.Record = true, filepath.Join(dir, "worked-"+lab.Number()), ""
		if _, err := h.Write(t.Context()); err != nil {
			t.Fatal(err)
		}
		// Student n hands in all but the labs that n divides, and is wrong here and there.
		marks[i] = map[string]float64{}
		var all bytes.Buffer
		z := zip.NewWriter(&all)
		for n, s := range class.Students {
			if (n+i)%11 == 7 {
				continue
			}
			text, err := os.ReadFile(filepath.Join(dir, "worked-"+lab.Number(), s.ID, lab.ID+".ipynb"))
			if err != nil {
				t.Fatal(err)
			}
			earned := 4.0
			if (n+2*i)%3 == 1 {
				text = numberCall.ReplaceAll(text, []byte(`sheet.Number(\"$1\", 77, \"$3\")`))
				earned -= 3
			}
			if (n+i)%5 == 2 {
				// Options have another order on each sealed sheet.
				letter := "a"
				if bytes.Contains(text, []byte(`\"mass\", \"a\"`)) {
					letter = "b"
				}
				text = choiceCall.ReplaceAll(text, []byte(`sheet.Choice(\"$1\", \"`+letter+`\")`))
				earned--
			}
			when := time.Date(2026, 10, 6+7*i, 16, 0, 0, 0, time.UTC)
			if (n+i)%7 == 3 { // some two and a half days late: three have begun, at 10 % of 4
				when = when.Add(60 * time.Hour)
				earned = max(earned-1.2, 0)
			}
			f, err := z.CreateHeader(&zip.FileHeader{Name: s.Name + " " + s.ID + " file/" + lab.ID + ".ipynb", Method: zip.Deflate, Modified: when})
			if err != nil {
				t.Fatal(err)
			}
			f.Write(text)
			marks[i][s.ID] = earned
		}
		z.Close()
		put(t, dir, fmt.Sprintf("returned-%d.zip", 91+i), all.String())
	}
	rules := head + "results,,,2026-12-14,\nbest,,,4,\nweight,95,,2,\nlate,,,10 % per day,\nexcused,93,0006,,a reason that is the student's own\n"
	for i := range 5 {
		rules += fmt.Sprintf("book,%d,,out/marks-%d,\nassigned,%d,,%s,\ndue,%d,,%s,\n", 91+i, 91+i, 91+i, time.Date(2026, 9, 29+7*i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), 91+i, time.Date(2026, 10, 6+7*i, 18, 0, 0, 0, time.FixedZone("", 3600)).Format(time.RFC3339))
	}
	put(t, dir, "rules.csv", rules)
	return dir, marks
}

// outputs are the bytes of everything that an evening wrote.
func outputs(t testing.TB, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(filepath.Join(dir, "out"), func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		text, err := os.ReadFile(path)
		all[path] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func sameOutputs(t testing.TB, what string, got, want map[string]string) {
	t.Helper()
	for path, text := range want {
		if got[path] != text {
			t.Errorf("%s: %s differs", what, path)
		}
	}
	for path := range got {
		if _, ok := want[path]; !ok {
			t.Errorf("%s: there is %s too", what, path)
		}
	}
}

// table reads a CSV file of a set by the names of its columns.
func tableOf(t testing.TB, set map[string][]byte, name string) []map[string]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(set[name+".csv"])).ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("%s.csv has %d rows, %v", name, len(rows), err)
	}
	var want []string
	for _, f := range fieldsOf(name) {
		want = append(want, f.name)
	}
	if name != manifestFile && !slices.Equal(rows[0], want) {
		t.Errorf("%s.csv has the columns %v, and the standard %v", name, rows[0], want)
	}
	var out []map[string]string
	for _, row := range rows[1:] {
		m := map[string]string{}
		for i, cell := range row {
			m[rows[0][i]] = cell
		}
		out = append(out, m)
	}
	return out
}

// A term of five labs for 24 students: from a OneRoster set to a class list, sealed handouts,
// marks, totals, and a OneRoster set of results. The totals are computed here a second time; called
// again, and after kills at random moments, everything has the same bytes. GRAVLAB_LONG kills at 50
// moments.
func TestTermOfFive(t *testing.T) {
	dir, marks := newTerm(t)
	began := time.Now()
	if err := evening(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	length := time.Since(began)
	want := outputs(t, dir)
	if err := evening(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	sameOutputs(t, "called again", outputs(t, dir), want)

	// What came out, computed by another way.
	z, err := zip.OpenReader(filepath.Join(dir, "out", "term", "results.zip"))
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	set := map[string][]byte{}
	for _, f := range z.File {
		in, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		if set[f.Name], err = io.ReadAll(in); err != nil {
			t.Fatal(err)
		}
		in.Close()
	}
	for _, p := range tableOf(t, set, manifestFile) {
		name, isFile := strings.CutPrefix(p["propertyName"], "file.")
		if _, there := set[name+".csv"]; isFile && there != (p["value"] == "delta") {
			t.Errorf("the manifest says %s of %s", p["value"], name)
		}
	}
	categories, items := map[string]bool{}, map[string]map[string]string{}
	for _, c := range tableOf(t, set, "categories") {
		categories[c["sourcedId"]] = true
	}
	for _, item := range tableOf(t, set, "lineItems") {
		items[item["sourcedId"]] = item
		if !categories[item["categorySourcedId"]] || item["classSourcedId"] != "class-2a" || item["academicSessionSourcedId"] != "t1" || item["schoolSourcedId"] != "skelmire" {
			t.Errorf("a line item is %v", item)
		}
	}
	results := tableOf(t, set, "results")
	if len(items) != 6 || len(results) != 6*24 {
		t.Errorf("%d line items and %d results, want 6 and 144", len(items), len(results))
	}
	scores := map[string]map[string]string{} // result, by student and line item
	for _, r := range results {
		item := items[r["lineItemSourcedId"]]
		if item == nil || r["status"] != "active" || r["dateLastModified"] != "2026-12-14T00:00:00.000Z" || r["scoreDate"] != "2026-12-14" {
			t.Errorf("a result is %v", r)
		}
		scores[r["studentSourcedId"]+" "+item["title"]] = r
	}
	late, missing := 0, 0
	for n := range 24 {
		id := fmt.Sprintf("%04d", n+1)
		type part struct{ f, w float64 }
		var parts []part
		for i := range 5 {
			title := fmt.Sprintf("%d Plumb line %d", 91+i, i+1)
			r := scores["u/"+id+" "+title]
			if i == 2 && id == "0006" {
				if r["scoreStatus"] != "exempt" || r["score"] != "" || strings.Contains(string(set["results.csv"]), "own") {
					t.Errorf("%s is excused from %s: %v", id, title, r)
				}
				continue
			}
			earned, handed := marks[i][id]
			status := "fully graded"
			if !handed {
				status = "not submitted"
				missing++
			}
			if r["late"] == "true" {
				late++
			}
			if got, err := strconv.ParseFloat(r["score"], 64); err != nil || math.Abs(got-earned) > 1e-9 || r["scoreStatus"] != status || r["missing"] != fmt.Sprint(!handed) || r["late"] != fmt.Sprint(handed && (n+i)%7 == 3) {
				t.Errorf("%s in %s: %v, want %g and %s", id, title, r, earned, status)
			}
			w := 1.0
			if i == 4 {
				w = 2
			}
			parts = append(parts, part{earned / 4, w})
		}
		slices.SortStableFunc(parts, func(a, b part) int {
			if d := b.f - a.f; math.Abs(d) > 1e-12 {
				return int(math.Copysign(1, d))
			}
			return int(b.w - a.w)
		})
		sum, weights := 0.0, 0.0
		for _, p := range parts[:4] {
			sum, weights = sum+p.f*p.w, weights+p.w
		}
		total, err := strconv.ParseFloat(scores["u/"+id+" Total of the gravity labs"]["score"], 64)
		if err != nil || math.Abs(total-100*sum/weights) > 0.05+1e-9 {
			t.Errorf("%s has the total %g, and the sum by another way is %g", id, total, 100*sum/weights)
		}
	}
	if late < 10 || missing < 5 {
		t.Errorf("only %d results are late and %d missing: too few to try the rules", late, missing)
	}
	t.Logf("120 sheets of 24 students in 5 labs, %d handed in late and %d not at all, 1 excused: %v", late, missing, length.Round(time.Millisecond))
	if testing.Short() {
		return
	}

	// Killed at random moments.
	moments := 4
	if os.Getenv("GRAVLAB_LONG") != "" {
		moments = 50
	}
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(3, 4))
	killed, finished := 0, 0
	run := func(after time.Duration) {
		child := exec.Command(program)
		child.Env = append(os.Environ(), victim+"="+dir)
		var said bytes.Buffer
		child.Stderr = &said
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(after, func() { child.Process.Kill() })
		err := child.Wait()
		if timer.Stop() {
			if err != nil {
				t.Fatalf("%v: %s", err, said.String())
			}
			finished++
			sameOutputs(t, "after kills", outputs(t, dir), want)
			os.RemoveAll(filepath.Join(dir, "out"))
			return
		}
		killed++
	}
	os.RemoveAll(filepath.Join(dir, "out"))
	for killed < moments {
		run(50*time.Millisecond + time.Duration(random.Int64N(int64(length))))
	}
	run(time.Hour)
	if finished == 0 {
		t.Error("no evening was ever finished: nothing was compared")
	}
	t.Logf("killed at %d moments, run to the end %d times", killed, finished)
}

// An updated bank in the middle of a term stops with the names of the questions before anything is
// judged, and what was written stays as it was; the lecturer can say that the lab shall be judged
// anew.
func TestUpdatedBankInTerm(t *testing.T) {
	dir, _ := newTerm(t)
	if err := evening(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	want := outputs(t, dir)
	changed := plumbLab(2, 0.005)
	build := changed.Build
	changed.Build = func(d *bank.Draw) bank.Sheet {
		s := build(d)
		solve := s.Questions[0].Solve
		s.Questions[0].Solve = func(k bank.Answers) float64 { return solve(k) * 1.02 }
		return s
	}
	if err := exercises.Add(changed); err != nil {
		t.Fatal(err)
	}
	defer exercises.Add(plumbLab(2, 0.005))
	err := evening(t.Context(), dir)
	var stop *marking.ChangedBank
	if !errors.As(err, &stop) || len(stop.Sheets) != 24 || !slices.Equal(stop.Sheets["0007"], []string{"period"}) || !strings.Contains(err.Error(), "class-93-assessed.handout: the bank has changed since lab 93 was handed out") || !strings.Contains(err.Error(), "period (24 sheets)") {
		t.Fatalf("an updated bank: %v", err)
	}
	sameOutputs(t, "after the stop", outputs(t, dir), want)
	class, err := marking.ReadClass(filepath.Join(dir, "class.csv"))
	if err != nil {
		t.Fatal(err)
	}
	key, _, err := marking.ReadKey(filepath.Join(dir, "class.key"))
	if err != nil {
		t.Fatal(err)
	}
	if err := markOne(t.Context(), dir, class, key, 2, true); err != nil {
		t.Errorf("judged anew: %v", err)
	}
	if b, err := marking.ReadBook(filepath.Join(dir, "out", "marks-93")); err != nil || b.Rows[0].Total() > 1 {
		t.Errorf("judged anew, the first student has %g of %d, %v", b.Rows[0].Total(), b.Of(), err)
	}
}
