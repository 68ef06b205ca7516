package draw

import (
	"encoding/json"
	"image/color"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

func TestChart(t *testing.T) {
	const js = `/* stands for ECharts */ "</script>"`
	for name, f := range gallery() {
		with, err := Chart(f, js, nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		without, err := Chart(f, "", nil)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if !strings.HasPrefix(with, without) {
			t.Errorf("%s: the chart does not begin with its still image", name)
		}
		if !strings.Contains(without, `<img style="max-width:100%" src="data:image/svg+xml;base64,`) || strings.Contains(without, "<iframe") {
			t.Errorf("%s: without ECharts: want the still image alone", name)
		}
		if interactive := strings.Contains(with, "<iframe"); interactive != (f.Map == nil) {
			t.Errorf("%s: interactive is %v, want %v", name, interactive, f.Map == nil)
		}
		if strings.Contains(with, "http:") || strings.Contains(with, "https:") {
			t.Errorf("%s: the chart names another host", name)
		}
		option, ok, err := ChartOption(f)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if ok != (f.Map == nil) {
			t.Errorf("%s: ok is %v, want %v", name, ok, f.Map == nil)
		}
		if !ok {
			continue
		}
		var o struct {
			Series []struct{ Data []any }
			XAxis  []struct{ Name string }
		}
		if err := json.Unmarshal(option, &o); err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if len(o.XAxis) != 1+len(f.Under) || !strings.HasPrefix(o.XAxis[len(o.XAxis)-1].Name, f.X.Label) {
			t.Errorf("%s: axes %v, want %d of which the last is named %q", name, o.XAxis, 1+len(f.Under), f.X.Label)
		}
		for i, s := range o.Series {
			if len(s.Data) == 0 || len(s.Data) > 4*chartColumns+8 {
				t.Errorf("%s: series %d has %d points", name, i, len(s.Data))
			}
		}
	}
}

// TestChartLook writes the charts to the folder LOOK with the ECharts of the
// file ECHARTS, for people to look at.
func TestChartLook(t *testing.T) {
	folder, file := os.Getenv("LOOK"), os.Getenv("ECHARTS")
	if folder == "" || file == "" {
		t.Skip("writes charts to look at; set LOOK to a folder and ECHARTS to echarts.min.js")
	}
	js, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"swing", "lines", "long", "band"} {
		option, _, err := ChartOption(gallery()[name])
		if err != nil {
			t.Fatal(err)
		}
		head, tail := ChartPage(option)
		if err := os.WriteFile(filepath.Join(folder, "chart-"+name+".html"), []byte(head+ScriptText(string(js))+tail), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// A chart has the colours of the still figures, and nothing of ECharts' own theme.
func TestChartColours(t *testing.T) {
	ours := map[string]bool{}
	for _, c := range []color.NRGBA{ink, faint, grey, shade, white} {
		ours[hex(c)] = true
	}
	for from, to := range inTheDark() {
		ours[from], ours[to] = true, true
	}
	used := regexp.MustCompile(`#[0-9a-f]{6}`).FindAllString(StartScript, -1)
	if len(used) < 5 {
		t.Fatalf("only %d colours in the script", len(used))
	}
	for _, c := range used {
		if !ours[c] {
			t.Errorf("the chart has the colour %s, which no still figure has", c)
		}
	}
}
