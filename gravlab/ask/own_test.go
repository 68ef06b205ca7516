package ask

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gravity.example/gravlab/wire"
)

func TestToSI(t *testing.T) {
	for _, c := range []struct {
		unit   string
		factor float64
		si     string
	}{
		{"s", 1, "s"}, {"ms", 1e-3, "s"}, {"min", 60, "s"}, {"h", 3600, "s"},
		{"mrad", 1e-3, "rad"}, {"µrad", 1e-6, "rad"}, {"μrad", 1e-6, "rad"}, {"urad", 1e-6, "rad"}, {"°", math.Pi / 180, "rad"},
		{"mm/s²", 1e-3, "m s⁻²"}, {"mm/s2", 1e-3, "m s⁻²"}, {"mm/s^2", 1e-3, "m s⁻²"}, {"m s-2", 1, "m s⁻²"}, {"m s⁻²", 1, "m s⁻²"},
		{"µGal", 1e-8, "m/s²"}, {"g", 1e-3, "kg"}, {"kg", 1, "kg"}, {"cm³", 1e-6, "m³"}, {"g/cm³", 1000, "kg m⁻³"},
		{"N·m/rad", 1, "N m rad⁻¹"}, {"mbar", 100, "Pa"}, {"mV", 1e-3, "V"}, {"1", 1, "1"}, {"%", 0.01, "1"}, {"kHz", 1000, "Hz"},
		{"hPa", 100, "Pa"}, {"nm/(s² hPa)", 1e-11, "m s⁻² Pa⁻¹"}, {"m³/(kg s²)", 1, "m³ kg⁻¹ s⁻²"}, {"nm/(s² d)", 1e-9 / 86400, "m s⁻² s⁻¹"},
		{"nm/s²/√Hz", 1e-9, "m s⁻² /√Hz"}, {"fm/√Hz", 1e-15, "m /√Hz"}, {"E", 1e-9, "s⁻²"}, {"g.u.", 1e-6, "m/s²"}, {"mgn", 9.80665e-3, "m/s²"},
		{"Gt/a", 1e12 / 31557600.0, "kg s⁻¹"}, {"Gt/a²", 1e12 / 31557600.0 / 31557600.0, "kg s⁻²"}, {"ft", 0.3048, "m"}, {"10⁻¹⁸", 1e-18, "1"}, {"1/d", 1 / 86400.0, "s⁻¹"},
	} {
		f, si, err := toSI(c.unit)
		if err != nil || math.Abs(f/c.factor-1) > 1e-14 || si != c.si {
			t.Errorf("toSI(%q) = %v, %q, %v; want %v, %q", c.unit, f, si, err, c.factor, c.si)
		}
	}
	for _, unit := range []string{"furlong", "m/s/s", "/s", "mmin", "m--", "kkg", "Gal²", "²", "µ", "m/", "/", "m/s²/Hz", "m/(s", "m/s)", "(m)", "m/(s/kg)", "√s²", "hh", "ma", "10", "10⁻⁹⁹⁹"} {
		if f, si, err := toSI(unit); err == nil {
			t.Errorf("toSI(%q) = %v, %q, want an error", unit, f, si)
		}
	}
}

func TestParseRecording(t *testing.T) {
	rec, remarks, err := parse("swing.csv", "\ufefftime (s), angle (mrad)\r\n0.00,12.5\r\n0.05,-3e1\r\n0.10,0\r\n")
	if err != nil || len(remarks) > 0 {
		t.Fatal(err, remarks)
	}
	if got, want := rec.String(), "swing.csv: 3 samples of time (s), angle (rad)"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	if a := rec.Column("angle"); a[0] != 12.5e-3 || a[1] != -30e-3 || a[2] != 0 {
		t.Errorf("angle in rad: %v", a)
	}
	if rec.Unit("time") != "s" || rec.Unit("none") != "" || rec.Len() != 3 {
		t.Error("wrong unit or length")
	}
}

// What is wrong with a recording is said with the line.
func TestBadRecordings(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "the file is empty"},
		{"header alone", "time (s)\n", "no line after the header"},
		{"no unit", "time (s),angle\n0,1\n", `line 1: column 2 is "angle"`},
		{"empty unit", "time ()\n0\n", "line 1: column 1"},
		{"unknown unit", "time (s),angle (furlong)\n0,1\n", `line 1: column "angle": the unit "furlong" is not known`},
		{"time in metres", "time (m),angle (rad)\n0,1\n", "line 1: the column time is in"},
		{"twice", "x (m),x (m)\n1,2\n", `two columns "x"`},
		{"comma for point", "time (s),angle (rad)\n0,1\n0.1,\"2,5\"\n", `line 3: "2,5" in column "angle" is not a number`},
		{"words", "time (s),angle (rad)\n0,1\n0.1,lost\n", `line 3: "lost"`},
		{"NaN", "time (s)\nNaN\n", "line 2"},
		{"too few", "time (s),angle (rad)\n0,1\n0.1\n", "line 3: it has more or fewer columns"},
		{"back in time", "time (s),angle (rad)\n0,1\n0.1,1\n0.1,1\n", "line 4: the time goes from 0.1 s to 0.1 s"},
		{"quote", "time (s)\n\"0\n", "line"},
		{"semicolons", "time (s);angle (mrad)\n0,05;12,3\n", "line 1: its columns are separated by semicolons"},
		{"Windows-1252", "time (s),level (\xb5rad)\n0,1\n", "line 1: the file is not UTF-8"},
		{"UTF-16", "t\x00i\x00m\x00e\x00 \x00(\x00s\x00)\x00\n\x000\x00\n\x00", "line 1: the file is not UTF-8"},
	} {
		rec, _, err := parse("f.csv", c.text)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, %v; want %q", c.name, rec, err, c.want)
		}
	}
}

func TestUnevenSteps(t *testing.T) {
	_, remarks, err := parse("f.csv", "time (ms)\n0\n10\n20\n50\n60\n")
	if want := "line 5: the time step is 0.03 s where most are 0.01 s"; err != nil || len(remarks) != 1 || !strings.HasPrefix(remarks[0], want) {
		t.Errorf("%q, %v; want %q", remarks, err, want)
	}
	// Times written to two digits are uneven by rounding alone.
	_, remarks, err = parse("f.csv", "time (s)\n0.00\n0.03\n0.07\n0.10\n0.13\n0.17\n")
	if err != nil || len(remarks) > 0 {
		t.Errorf("rounded times: %q, %v", remarks, err)
	}
}

// What may be right and mostly is not is said with its line, and kept.
func TestOddRecordings(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"no data", "height (m)\n310\n-9999\n312\n", `line 3: -9999 in column "height" looks like the mark of a missing value`},
		{"no data in mm", "spot (mm)\n12.5\n-9999.0\n13\n", `line 3: -9999 in column "spot"`},
		{"counts at their end", "counts (1)\n-32767\n-32768\n-32760\n", ""},
		{"a deep sea", "height (m)\n-9998\n-9999\n-10001\n", ""},
		{"a phone", "time (s),a (g)\n0,1.01\n1,0.99\n", `line 1: column "a" is read in grams, which become kg; if it holds accelerations in units of 9.80665 m/s², write "a (gn)"`},
		{"masses", "mass of ball (g)\n120\n", ""},
	} {
		rec, remarks, err := parse("f.csv", c.text)
		if err != nil || rec.Len() == 0 {
			t.Errorf("%s: %v", c.name, err)
		}
		if got := strings.Join(remarks, "\n"); !strings.HasPrefix(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%s: %q; want %q", c.name, got, c.want)
		}
	}
}

func TestOwnRecordingFile(t *testing.T) {
	t.Chdir(t.TempDir())
	if err := os.WriteFile("mine.csv", []byte("time (s),angle (mrad)\n0,1\n1,2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	readOwn.Store(false)
	defer readOwn.Store(false)
	if Sheet("01", "").answer("kappa", wire.FormNumber).Own {
		t.Error("an answer says that it comes from a recording before one is read")
	}
	if got := Sheet("01", "").OwnRecording("mine.csv").Column("angle"); got[1] != 2e-3 {
		t.Errorf("angle %v", got)
	}
	if !Sheet("01", "").answer("kappa", wire.FormNumber).Own {
		t.Error("an answer after a recording of one's own does not say so")
	}
	// A reader who works on a copy may have put it beside that.
	beside := t.TempDir()
	if err := os.WriteFile(filepath.Join(beside, "there.csv"), []byte("angle (mrad)\n3\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	t.Setenv("GRAVLAB_BESIDE", strings.Join([]string{t.TempDir(), beside}, string(filepath.ListSeparator)))
	if got := Sheet("01", "").OwnRecording("there.csv").Column("angle"); got[0] != 3e-3 {
		t.Errorf("angle %v", got)
	}
	if err := os.WriteFile("big.csv", make([]byte, maxFile+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Mkdir("folder", 0o700); err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"none.csv": "no file none.csv beside the notebook", "big.csv": "at most 5000000", "folder": "folder is not a file",
		"../mine.csv": "not the name of a file", filepath.Join(t.TempDir(), "mine.csv"): "not the name of a file", "": "not the name of a file", "..": "not the name of a file",
	} {
		if got := message(func() { Sheet("01", "").OwnRecording(name) }); !strings.Contains(got, want) {
			t.Errorf("%q: %q, want %q", name, got, want)
		}
	}
}

// message is what f panics with.
func message(f func()) (text string) {
	defer func() {
		if err, ok := recover().(error); ok {
			text = err.Error()
		}
	}()
	f()
	return ""
}

func FuzzParse(f *testing.F) {
	f.Add("time (s),angle (mrad)\n0,1\n0.1,2\n")
	f.Add("x (m s-2)\n\"1\"\n")
	f.Fuzz(func(t *testing.T, text string) {
		rec, _, err := parse("f.csv", text)
		if err != nil {
			return
		}
		for _, name := range rec.Names() {
			if len(rec.Column(name)) != rec.Len() || rec.Len() == 0 {
				t.Fatalf("columns of unequal length in %v", rec)
			}
		}
	})
}
