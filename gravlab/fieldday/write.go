package fieldday

import (
	"bytes"
	"embed"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"gravity.example/gravlab"
	"gravity.example/gravlab/draw"
	"gravity.example/gravlab/draw/figure"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/htmlpage"
	"gravity.example/gravlab/survey"
)

//go:embed report.html report.css
var files embed.FS

var page = htmlpage.Templates(files, "report.html", template.FuncMap{
	"micro": func(v float64) string { return sign(strconv.FormatFloat(v/gravlab.MicroGal, 'f', 1, 64)) },
	"milli": func(v float64) string { return sign(strconv.FormatFloat(v/gravlab.MilliGal, 'f', 3, 64)) },
	"metre": func(v float64) string { return sign(strconv.FormatFloat(v, 'f', 2, 64)) },
	"hour":  func(v float64) string { return sign(strconv.FormatFloat(v*3600/gravlab.MicroGal, 'f', 1, 64)) },
})

func sign(s string) string { return strings.Replace(s, "-", "−", 1) }

// Files are what Write writes, by name.
func (r *Result) Files() (map[string][]byte, error) {
	out := map[string][]byte{"choices.csv": r.Choices.CSV(), "stations.csv": r.stationsCSV(), "suspicious.csv": doubtsCSV(r.Doubts)}
	figures := map[string]*figure.Figure{"network": r.networkFigure()}
	offset := r.mean()
	figures["profile"] = r.profileFigure(offset)
	g := r.raster()
	if g != nil {
		for i := range g.value {
			g.value[i] -= offset
		}
		figures["map"] = r.mapFigure(g)
		if _, hi := figure.Range(g.u); hi > 0 {
			figures["map-u"] = r.uFigure(g)
		}
		out["anomaly.txt"], out["anomaly-u.txt"] = g.text(g.value), g.text(g.u)
		lines, err := r.contours(g, figures["map"].Map)
		if err != nil {
			return nil, err
		}
		out["contours.geojson"] = lines
	}
	points, err := r.points()
	if err != nil {
		return nil, err
	}
	out["stations.geojson"] = points
	for name, f := range figures {
		svg, err := draw.SVG(f)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		out[name+".svg"] = svg
	}
	if f := figures["map"]; f != nil {
		if out["map.png"], err = draw.PNG(f, 2); err != nil {
			return nil, err
		}
	}
	if out["report.html"], err = r.html(figures, out, g); err != nil {
		return nil, err
	}
	return out, nil
}

// Write writes all files into a folder, each whole.
func (r *Result) Write(dir string) error {
	out, err := r.Files()
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, data := range out {
		if err := atomicfile.WriteFile(filepath.Join(dir, name), data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// mean is the mean anomaly of the stations on the map, µGal.
func (r *Result) mean() float64 {
	_, _, _, value, _ := r.onMap()
	sum := 0.0
	for _, v := range value {
		sum += v
	}
	if len(value) == 0 {
		return 0
	}
	return math.Round(sum / float64(len(value)))
}

const degree = math.Pi / 180

func fixed(v float64, digits int) string { return strconv.FormatFloat(v, 'f', digits, 64) }

func (r *Result) stationsCSV() []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"station", "latitude (deg)", "longitude (deg)", "north (m)", "east (m)", "height (m)", "readings (1)", "gravity (mGal)", "u gravity (mGal)",
		"free-air (mGal)", "terrain (mGal)", "anomaly (mGal)", "u anomaly (mGal)", "u reading (mGal)", "u scale (mGal)", "u height (mGal)", "u terrain (mGal)", "u density (mGal)", "on map", "doubt"})
	for _, s := range r.Stations {
		m := func(v float64) string { return fixed(v/gravlab.MilliGal, 4) }
		w.Write([]string{s.Name, fixed(s.Lat/degree, 7), fixed(s.Lon/degree, 7), fixed(s.North, 2), fixed(s.East, 2), fixed(s.Height, 3), fmt.Sprint(s.Readings),
			m(s.Gravity.Value), m(s.Gravity.U), m(s.Anomaly.FreeAir), m(s.Anomaly.Terrain), m(s.Anomaly.Value), m(s.U.All()),
			m(s.U.Reading), m(s.U.Scale), m(s.U.Height), m(s.U.Terrain), m(s.U.Density), map[bool]string{true: "yes", false: "no"}[s.OnMap], s.Doubt})
	}
	w.Flush()
	return b.Bytes()
}

func doubtsCSV(doubts []fieldbook.Problem) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"file", "line", "station", "time", "what"})
	for _, d := range doubts {
		line := ""
		if d.Line > 0 {
			line = fmt.Sprint(d.Line)
		}
		w.Write([]string{d.File, line, d.Station, d.Time, d.Text})
	}
	w.Flush()
	return b.Bytes()
}

// text is a grid as plain text: see package fieldbook.
func (g *raster) text(v []float64) []byte {
	var b bytes.Buffer
	cell := g.x[1] - g.x[0]
	fmt.Fprintf(&b, "ncols %d\nnrows %d\nxllcorner %s\nyllcorner %s\ncellsize %s\nNODATA_value -9999\n", len(g.x), len(g.y), fixed(g.x[0]-cell/2, 3), fixed(g.y[0]-cell/2, 3), fixed(cell, 3))
	for j := len(g.y) - 1; j >= 0; j-- {
		for i := range g.x {
			if i > 0 {
				b.WriteByte(' ')
			}
			if z := v[j*len(g.x)+i]; math.IsNaN(z) {
				b.WriteString("-9999")
			} else {
				b.WriteString(fixed(z, 2))
			}
		}
		b.WriteByte('\n')
	}
	return b.Bytes()
}

type feature struct {
	Type       string         `json:"type"`
	Geometry   geometry       `json:"geometry"`
	Properties map[string]any `json:"properties"`
}

type geometry struct {
	Type        string `json:"type"`
	Coordinates any    `json:"coordinates"`
}

// collection is a FeatureCollection of RFC 7946.
func collection(features []feature) ([]byte, error) {
	if features == nil {
		features = []feature{}
	}
	b, err := json.MarshalIndent(struct {
		Type     string    `json:"type"`
		Features []feature `json:"features"`
	}{"FeatureCollection", features}, "", " ")
	return append(b, '\n'), err
}

// to rounds to a number of digits, so that files do not hold noise.
func to(v float64, digits int) float64 {
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}

// points are the stations. RFC 7946, section 4, counts heights from the ellipsoid: others are
// properties only.
func (r *Result) points() ([]byte, error) {
	var list []feature
	for _, s := range r.Stations {
		at := []float64{to(s.Lon/degree, 7), to(s.Lat/degree, 7)}
		if r.Reduction.Heights == survey.Ellipsoidal {
			at = append(at, to(s.Height, 3))
		}
		list = append(list, feature{"Feature", geometry{"Point", at}, map[string]any{
			"station": s.Name, "height_m": to(s.Height, 3), "gravity_mGal": to(s.Gravity.Value/gravlab.MilliGal, 4), "anomaly_mGal": to(s.Anomaly.Value/gravlab.MilliGal, 4),
			"u_anomaly_mGal": to(s.U.All()/gravlab.MilliGal, 4), "readings": s.Readings, "doubt": s.Doubt}})
	}
	return collection(list)
}

// contours are the lines of the map.
func (r *Result) contours(g *raster, m *figure.Map) ([]byte, error) {
	var list []feature
	lo, hi := figure.Range(m.Z)
	base := r.station(r.Base)
	n0, e0 := 0.0, 0.0
	if !math.IsNaN(base.Point.North) {
		n0, e0 = base.North, base.East
	}
	for k := math.Ceil(lo / g.interval); k*g.interval <= hi; k++ {
		for _, line := range draw.Contours(m, k*g.interval) {
			var at [][2]float64
			for _, p := range line {
				lat, lon, err := r.Frame.Place(p[1]-n0, p[0]-e0)
				if err != nil {
					return nil, err
				}
				at = append(at, [2]float64{to(lon/degree, 7), to(lat/degree, 7)})
			}
			list = append(list, feature{"Feature", geometry{"LineString", at}, map[string]any{"anomaly_uGal": to(k*g.interval, 6)}})
		}
	}
	return collection(list)
}

// html is the report.
func (r *Result) html(figures map[string]*figure.Figure, out map[string][]byte, g *raster) ([]byte, error) {
	type picture struct {
		Src              template.HTMLAttr
		Title, Alt, Text string
	}
	var pictures []picture
	for _, name := range []string{"map", "map-u", "profile", "network"} {
		f := figures[name]
		if f == nil {
			continue
		}
		src, ok := htmlpage.Source("image/svg+xml", base64.StdEncoding.EncodeToString([]byte(draw.OnPage(string(out[name+".svg"])))))
		if !ok {
			return nil, fmt.Errorf("%s.svg cannot stand in a page", name)
		}
		pictures = append(pictures, picture{src, f.Title, f.AltText(), f.Caption})
	}
	var scale, method string
	if r.Surface != nil {
		s, l := r.Surface.Shape()
		method = fmt.Sprintf("The map is a plane and a random field about it, by least-squares collocation: standard deviation %.2g µGal, falling with distance as (1 + d²/L²) to the power −3/2 with L = %.2g m, the likeliest for these stations. %g µGal is subtracted; lines every %g µGal.", s, l, r.mean(), g.interval)
	}
	data := struct {
		*Result
		Datum     survey.Datum
		Pictures  []picture
		Scale     string
		Method    string
		Cautions  []string
		Choices   []choice
		Doubtful  int
		P         float64
		Dates     string
		Where     string
		TiesGiven []fieldbook.Tie
	}{Result: r, Datum: r.datum(), Pictures: pictures, Scale: scale, Method: method, Cautions: survey.Cautions(), P: r.Adjustment.PValue(), TiesGiven: r.Book.Ties}
	for _, n := range names {
		for _, o := range r.Choices.list {
			if o.name == n.name {
				data.Choices = append(data.Choices, o)
			}
		}
	}
	for _, s := range r.Stations {
		if s.Doubt != "" {
			data.Doubtful++
		}
	}
	var dates []string
	for _, d := range r.Days {
		dates = append(dates, d.Name)
	}
	data.Dates = strings.Join(dates, ", ")
	data.Where = r.Where()
	return htmlpage.Page{Title: "Gravity survey " + data.Dates, Style: style(), Type: true, Body: htmlpage.Render(page, "report", data)}.Bytes(), nil
}

// Where is the place of the survey in words.
func (r *Result) Where() string {
	b := r.station(r.Base)
	ns, ew := "north", "east"
	if b.Lat < 0 {
		ns = "south"
	}
	if b.Lon < 0 {
		ew = "west"
	}
	return fmt.Sprintf("%.4f° %s, %.4f° %s", math.Abs(b.Lat)/degree, ns, math.Abs(b.Lon)/degree, ew)
}

func style() string {
	b, err := files.ReadFile("report.css")
	if err != nil {
		panic(err) // it is embedded
	}
	return string(b)
}

// Name, About, Value and Why are a choice for the report.
func (c choice) Name() string  { return c.name }
func (c choice) About() string { return c.about }
func (c choice) Value() string { return c.value }
func (c choice) Why() string   { return c.why }
