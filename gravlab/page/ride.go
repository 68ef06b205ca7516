package page

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/door"
)

// Limits of a recording made with the reader's device.
const (
	longestRide = 10 * time.Minute
	mostSamples = 120_000 // 200 per second for that time
	fewSamples  = 20
	atRest      = 3.0 // seconds at the begin in which the device lies still
)

// A ride is what a browser has of the device's motion: times in s, and the specific force along the
// device's axes in m/s², which the standard calls acceleration including gravity.
type ride struct {
	Time, X, Y, Z []float64
}

// A had is what a recording really was: a browser may make its steps coarser and its rate
// lower than those of the sensor.
type had struct {
	File    string    `json:"file"`
	Samples int       `json:"samples"`
	Seconds float64   `json:"seconds"`
	Rate    float64   `json:"rate"`    // per second, by the median interval
	Step    float64   `json:"step"`    // m/s², the smallest difference of two readings of an axis
	Gaps    []rideGap `json:"gaps"`    // intervals of more than three times the median
	Dropped int       `json:"dropped"` // readings at the time of the one before, or earlier
	Rest    float64   `json:"rest"`    // m/s², mean at rest
	Still   bool      `json:"still"`   // it lay still then, so that the direction of up is known
	Turned  bool      `json:"turned"`  // it does not lie as at the begin at the end
}

type rideGap struct {
	At   float64 `json:"at"`   // s
	Long float64 `json:"long"` // s
}

// work checks a ride and works out the column that the labs use: the part of the specific force
// along the direction that was up at the begin, which is the same in browsers that give the
// axes the other sign.
func (r ride) work() (table []byte, h had, problem string) {
	n := len(r.Time)
	if len(r.X) != n || len(r.Y) != n || len(r.Z) != n {
		return nil, h, "its columns do not have the same length"
	}
	if n > mostSamples {
		return nil, h, fmt.Sprintf("it has more than %d readings; record for a shorter time", mostSamples)
	}
	axes := [3][]float64{}
	var t []float64
	for i, at := range r.Time {
		for _, v := range []float64{at, r.X[i], r.Y[i], r.Z[i]} {
			if math.IsNaN(v) || math.Abs(v) > 1e4 {
				return nil, h, fmt.Sprintf("reading %d is not a number that an accelerometer gives", i+1)
			}
		}
		if len(t) > 0 && at < t[len(t)-1]+2e-4 { // they are written with four digits
			h.Dropped++
			continue
		}
		t = append(t, at)
		for k, v := range []float64{r.X[i], r.Y[i], r.Z[i]} {
			axes[k] = append(axes[k], v)
		}
	}
	if len(t) < fewSamples {
		return nil, h, fmt.Sprintf("it has %d readings, which is too few to look at", len(t))
	}
	begin := t[0]
	for i := range t {
		t[i] -= begin
	}
	h.Samples, h.Seconds = len(t), t[len(t)-1]
	if h.Seconds > longestRide.Seconds() {
		return nil, h, fmt.Sprintf("it is longer than %v", longestRide)
	}
	var between []float64
	for i := range t[1:] {
		between = append(between, t[i+1]-t[i])
	}
	median := slices.Sorted(slices.Values(between))[len(between)/2]
	h.Rate = 1 / median
	for i, d := range between {
		if d > 3*median {
			h.Gaps = append(h.Gaps, rideGap{t[i], d})
		}
	}
	h.Step = step(axes)
	up, still := meanOf(axes, t, 0, atRest)
	size := math.Sqrt(up[0]*up[0] + up[1]*up[1] + up[2]*up[2])
	if size < 1 {
		return nil, h, "the device reads no gravity at the begin; it has to lie still then, and its browser has to give the acceleration with gravity"
	}
	h.Rest, h.Still = size, still
	end, _ := meanOf(axes, t, h.Seconds-1, h.Seconds)
	along := (end[0]*up[0] + end[1]*up[1] + end[2]*up[2]) / size
	h.Turned = along < math.Cos(10*math.Pi/180)*math.Sqrt(end[0]*end[0]+end[1]*end[1]+end[2]*end[2])
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"time (s)", "reading (m/s²)", "x (m/s²)", "y (m/s²)", "z (m/s²)"})
	number := func(v float64, digits int) string {
		return strconv.FormatFloat(v, 'f', digits, 64)
	}
	for i := range t {
		reading := (axes[0][i]*up[0] + axes[1][i]*up[1] + axes[2][i]*up[2]) / size
		w.Write([]string{number(t[i], 4), number(reading, 4), number(axes[0][i], 4), number(axes[1][i], 4), number(axes[2][i], 4)})
	}
	w.Flush()
	return b.Bytes(), h, ""
}

// step is the smallest difference of two readings of an axis; 0 if all are the same.
func step(axes [3][]float64) float64 {
	least := math.Inf(1)
	for _, a := range axes {
		sorted := slices.Sorted(slices.Values(a))
		for i := range sorted[1:] {
			if d := sorted[i+1] - sorted[i]; d > 1e-5 { // less is the rounding of the numbers
				least = min(least, d)
			}
		}
	}
	if math.IsInf(least, 1) {
		return 0
	}
	return math.Round(least*1e5) / 1e5
}

// meanOf is the mean between two times; still says that no axis differs from it by more than a
// device that lies on a floor.
func meanOf(axes [3][]float64, t []float64, from, to float64) (mean [3]float64, still bool) {
	still = true
	for k, a := range axes {
		var sum, n float64
		least, most := math.Inf(1), math.Inf(-1)
		for i, at := range t {
			if at >= from && at <= to {
				sum, n = sum+a[i], n+1
				least, most = min(least, a[i]), max(most, a[i])
			}
		}
		mean[k] = sum / n
		still = still && most-least < 1
	}
	return mean, still
}

// beside are the recordings of the reader's own beside the working copy.
func (b *document) beside() []string {
	names := []string{}
	entries, _ := os.ReadDir(filepath.Dir(b.copy)) // there is no folder yet
	for _, e := range entries {
		id := strings.TrimSuffix(e.Name(), ".csv")
		if tableName.MatchString(e.Name()) && !slices.ContainsFunc(b.sheet.Recordings, func(r bank.Recording) bool { return r.ID == id }) {
			names = append(names, e.Name())
		}
	}
	return names
}

// record keeps a recording made with the reader's device beside the working copy. One that is there
// stays: the new one gets another name.
func (s *Server) record(w http.ResponseWriter, r *http.Request, b *document) {
	var in struct {
		Tab string
		ride
	}
	release := b.forWriter(w, r, &in, &in.Tab)
	if release == nil {
		return
	}
	defer release()
	if !b.hasSheet || b.sheet.Lab.Ride.File == "" {
		door.Refuse(w, http.StatusNotFound, "this lab needs no recording of a device")
		return
	}
	table, h, problem := in.work()
	if problem != "" {
		door.Refuse(w, http.StatusBadRequest, "this recording cannot be used: "+problem)
		return
	}
	if _, err := b.write(); err != nil { // it stands beside a working copy
		b.notSaved(w, err)
		return
	}
	if there := b.beside(); len(there) >= mostBeside {
		door.Refuse(w, http.StatusConflict, fmt.Sprintf("%d recordings stand beside this notebook already; more are not kept", len(there)))
		return
	}
	folder, base := filepath.Dir(b.copy), strings.TrimSuffix(b.sheet.Lab.Ride.File, ".csv")
	path := atomicfile.FreeName(func(n int) string {
		if n == 1 {
			return filepath.Join(folder, base+".csv")
		}
		return filepath.Join(folder, fmt.Sprintf("%s-%d.csv", base, n))
	})
	if err := atomicfile.WriteFile(path, table, 0o600); err != nil {
		b.notSaved(w, err)
		return
	}
	h.File = filepath.Base(path)
	door.Reply(w, h)
}
