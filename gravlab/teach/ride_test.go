package teach

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gravity.example/gravlab/equivalence"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/sandbox"
)

// A ride that a student recorded with a phone, in steps of 0.1 m/s², is taken in with the
// notebook, read in the confined run, and judged by the normalised error against what the
// lecturer has measured.
func TestRideIsMarked(t *testing.T) {
	if testing.Short() {
		t.Skip("marking takes seconds")
	}
	dir := t.TempDir()
	o := options(t, dir)
	o.Labs = find(t, "07")
	lab := o.Labs[0].ID
	s := serve(t, o)
	ada := s.come(map[string]string{"code": s.codes[0]})
	ada.lab = "/api/lab/" + lab
	ada.ask("GET", ada.lab+"?tab=a", "", nil)
	lift := equivalence.Lift{Gravity: 9.81, Peak: 1.1, Pulse: 2.4}
	var ride struct {
		Tab           string
		Time, X, Y, Z []float64
	}
	ride.Tab = "a"
	for i := range 30 * 60 {
		at := float64(i) / 60
		ride.Time, ride.X, ride.Y = append(ride.Time, at), append(ride.X, 0), append(ride.Y, 0)
		ride.Z = append(ride.Z, math.Round(10*(lift.Reading(at-10)-lift.Acceleration(at-20)))/10)
	}
	body, err := json.Marshal(ride)
	if err != nil {
		t.Fatal(err)
	}
	var had struct{ File string }
	ada.ask("POST", ada.lab+"/record", string(body), &had)
	if had.File != "own-ride.csv" {
		t.Fatalf("it is called %q", had.File)
	}
	ada.ask("POST", ada.lab+"/form", `{"tab":"a","question":"speed","code":true}`, nil)
	source, err := json.Marshal(`%%
rec := sheet.OwnRecording("own-ride.csv")
at, f := rec.Column("time"), rec.Column("reading")
zero, n, v := 0.0, 0.0, 0.0
for i := range at {
	if at[i] < 9 {
		zero, n = zero+f[i], n+1
	}
}
for i := 1; i < len(at); i++ {
	if at[i] > 9 && at[i] < 15 {
		v += ((f[i]+f[i-1])/2 - zero/n) * (at[i] - at[i-1])
	}
}
sheet.Measured("speed", v, 0.06, "m/s")`)
	if err != nil {
		t.Fatal(err)
	}
	ada.ask("POST", ada.lab+"/save", `{"tab":"a","cells":{"speed-answer":`+string(source)+`}}`, nil)
	s.lecturer().ask("POST", "/api/class/take", `{}`, nil)
	if _, err := os.Stat(filepath.Join(s.class.handedIn(lab), "s1", had.File)); err != nil {
		t.Fatal(err)
	}
	reference := filepath.Join(dir, "reference.csv")
	// The sum over the pulse is peak times pulse over 2: 1.32 m/s.
	if err := os.WriteFile(reference, []byte("id,question,value,u,unit,allowed\ns1,speed,1.32,0.02,m/s,0.05\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	class, err := marking.ReadClass(o.List)
	if err != nil {
		t.Fatal(err)
	}
	m := marking.Marking{Class: class, Key: s.class.key, Records: o.KeyFile, Lab: lab, Returned: []string{s.class.handedIn(lab)}, Out: filepath.Join(dir, "marks"), Reference: reference,
		Start: func(ctx context.Context) (marking.Runner, error) {
			pool, err := sandbox.NewPool(ctx, sandbox.PoolOptions{Clone: "../.."})
			if err != nil {
				return nil, err
			}
			t.Cleanup(func() { pool.Close() })
			return pool.Run, nil
		}}
	if _, err := marking.Mark(context.Background(), m); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(m.Out, "marks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(strings.NewReader(string(text))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := slices.IndexFunc(rows[0], func(h string) bool { return strings.Contains(h, "speed") })
	row := slices.IndexFunc(rows, func(r []string) bool { return r[0] == "s1" })
	if column < 0 || row < 0 || rows[row][column] != "3" {
		t.Errorf("the marks are\n%s", text)
	}
	reply, err := os.ReadFile(filepath.Join(m.Out, "replies", "s1.html"))
	if err != nil || !strings.Contains(string(reply), "E_n = ") {
		t.Errorf("the reply does not show the normalised error: %v", err)
	}
	if status, _, _ := ada.send("POST", ada.lab+"/record", string(body), nil); status != http.StatusForbidden {
		t.Errorf("a recording after it was taken in: %d", status)
	}
}
