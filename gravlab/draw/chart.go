package draw

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html"
	"math"
	"strings"

	"github.com/go-echarts/go-echarts/v2/charts"
	"github.com/go-echarts/go-echarts/v2/opts"
	"github.com/go-echarts/go-echarts/v2/types"

	"gravity.example/gravlab/draw/figure"
)

// ChartMIME is the media type of a chart's option, as ChartOption returns it.
const ChartMIME = "application/vnd.gravlab.chart+json"

// Chart returns a piece of HTML with a figure's still image and, where that is
// possible, an interactive chart under it.
//
// js is the text of ECharts 5 (the file dist/echarts.min.js of the npm package
// echarts), which this package does not contain and never loads from anywhere;
// if it is empty, or the figure is a map, there is the still image alone. The
// chart runs in a frame that cannot reach the page around it. still is the SVG
// of the figure; nil has it drawn.
func Chart(f *figure.Figure, js string, still []byte) (string, error) {
	if still == nil {
		var err error
		if still, err = SVG(f); err != nil {
			return "", err
		}
	}
	option, ok, err := ChartOption(f)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	b.WriteString(`<figure style="margin:0.5em 0"><img style="max-width:100%" src="data:image/svg+xml;base64,`)
	b.WriteString(base64.StdEncoding.EncodeToString(still))
	fmt.Fprintf(&b, `" alt="%s">`, escape(f.AltText()))
	if f.Caption != "" {
		fmt.Fprintf(&b, `<figcaption style="max-width:46em">%s</figcaption>`, escape(f.Caption))
	}
	b.WriteString("</figure>")
	if ok && js != "" {
		head, tail := ChartPage(option)
		fmt.Fprintf(&b, `<details><summary>interactive chart</summary><iframe sandbox="allow-scripts" title="interactive chart" style="width:100%%;height:26em;border:0" srcdoc="%s"></iframe></details>`,
			html.EscapeString(head+ScriptText(js)+tail))
	}
	return b.String(), nil
}

// look is what a chart has in common with the still figures, as an ECharts theme: the
// colours of style.go, its font, the grid, the axes on the left and below, and a key
// and a box of values without ornament.
const look = `{textStyle:{fontFamily:"Liberation Sans, Arial, sans-serif",color:"#222222"},` +
	`valueAxis:ax,logAxis:ax,scatter:{itemStyle:{opacity:1}},` +
	`legend:{left:"14%",itemWidth:26,itemHeight:10,itemGap:18,inactiveColor:"#e4e4e4",textStyle:{color:"#222222",fontSize:14}},` +
	`tooltip:{backgroundColor:"#ffffff",borderColor:"#666666",borderWidth:1,borderRadius:0,padding:[4,8],extraCssText:"box-shadow:none",` +
	`textStyle:{color:"#222222",fontSize:13},axisPointer:{type:"line",lineStyle:{color:"#666666",width:1,type:[4,3]}}},` +
	`dataZoom:{height:16,borderColor:"#e4e4e4",borderRadius:0,backgroundColor:"#ffffff",fillerColor:"#eeeeee",showDataShadow:false,brushSelect:false,` +
	`handleIcon:"path://M0 0h4v20h-4z",handleSize:"100%",handleStyle:{color:"#666666",borderWidth:0},moveHandleSize:0,` +
	`emphasis:{handleStyle:{color:"#222222"}},textStyle:{color:"#222222"}}}`

// StartScript is the script that a chart's page runs after ECharts itself. It
// gives the chart its look, with the colours of Dark where the reader asks for them, and
// writes very large and very small numbers as powers of ten. Ends of an axis that are no
// round numbers go without a number.
var StartScript = `function axis(v){var a=Math.abs(v);if(v===0||a>=1e-3&&a<1e5)return String(+v.toPrecision(12)).replace("-","\u2212");` +
	`var p=v.toExponential(6).split("e"),m=String(+p[0]).replace("-","\u2212"),e="";` +
	`String(+p[1]).split("").forEach(function(d){e+=d==="-"?"\u207b":"\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"[+d]});` +
	`return(m==="1"?"":m+"\u00b7")+"10"+e}` +
	`var dark=matchMedia("(prefers-color-scheme:dark)").matches?` + darkTable() + `:{};` +
	`function toned(s){return JSON.parse(s.replace(/#[0-9a-f]{6}/g,function(c){return dark[c]||c}))}` +
	`var o=toned(document.getElementById("option").textContent);` +
	`o.xAxis.concat(o.yAxis).forEach(function(a){a.axisLabel={formatter:function(v){` +
	`return(v===a.min||v===a.max)&&+v.toPrecision(3)!==v?"":axis(v)}}});` +
	`o.tooltip.valueFormatter=function(v){return typeof v==="number"?axis(+v.toPrecision(6)):"\u2013"};` +
	`var g={color:"#666666",width:1},ax={axisLine:{show:true,lineStyle:g},axisTick:{show:true,length:6,lineStyle:g},` +
	`axisLabel:{color:"#222222",fontSize:13},nameTextStyle:{color:"#222222",fontSize:14},splitLine:{show:true,lineStyle:{color:"#e4e4e4",width:1}}};` +
	`var c=echarts.init(document.getElementById("chart"),toned(JSON.stringify(` + look + `)),{renderer:"svg"});c.setOption(o);` +
	`addEventListener("resize",function(){c.resize()})`

// ChartPage returns a complete page for a chart in two halves, between which the
// text of ECharts belongs (through ScriptText).
func ChartPage(option json.RawMessage) (head, tail string) {
	head = `<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>chart</title>` +
		`<style>html,body,#chart{height:100%;margin:0;background:` + hex(paper) + `}` +
		`@media(prefers-color-scheme:dark){html,body,#chart{background:` + hex(darkGround) + `}}</style></head><body><div id="chart"></div>` +
		`<script type="application/json" id="option">` + strings.ReplaceAll(string(option), "<", `\u003c`) + `</script><script>`
	tail = `</script><script>` + StartScript + `</script></body></html>`
	return head, tail
}

// ScriptText makes the text of a script safe inside a script element, where the
// letters of its end tag would end it.
func ScriptText(js string) string {
	js = strings.ReplaceAll(strings.ReplaceAll(js, "\r\n", "\n"), "\x00", "")
	return strings.NewReplacer("</script", `<\/script`, "<!--", `<\!--`).Replace(js)
}

// chartColumns is how many columns a line in a chart is thinned to: enough to
// zoom in on a fifth of it.
const chartColumns = 2500

// ChartOption returns the option object of ECharts for a figure. ok is false for a
// map, which is shown as a still image only.
func ChartOption(f *figure.Figure) (option json.RawMessage, ok bool, err error) {
	if err := f.Validate(); err != nil {
		return nil, false, err
	}
	if f.Map != nil {
		return nil, false, nil
	}
	chart := charts.NewLine()
	panels := f.Panels()
	var xs []opts.XAxis
	var ys []opts.YAxis
	var grids []opts.Grid
	var all []int
	keys := []key{}
	chart.MultiSeries = nil
	top, room := 17.0, 65.0 // per cent
	shares := 0.0
	for _, p := range panels {
		shares += share(p)
	}
	x := newPlotScale(f)
	for i, p := range panels {
		height := (room - 5*float64(len(panels)-1)) * share(p) / shares
		grids = append(grids, opts.Grid{Left: "14%", Right: "5%", Top: percent(top), Height: percent(height)})
		top += height + 5
		xs = append(xs, opts.XAxis{Type: axisType(f.X), GridIndex: i, NameLocation: "middle", NameGap: 24, Scale: opts.Bool(true), Inverse: opts.Bool(f.X.Flip), AxisLine: &opts.AxisLine{OnZero: opts.Bool(false)}})
		ys = append(ys, opts.YAxis{Type: axisType(p.Y), GridIndex: i, Name: chartLabel(p.Y), NameLocation: "middle", NameGap: 52, Scale: opts.Bool(true), Inverse: opts.Bool(p.Y.Flip)})
		q := newPanel(f, p, i == 0)
		xs[i].Min, xs[i].Max = x.lo, x.hi
		ys[i].Min, ys[i].Max = q.y.lo, q.y.hi
		all = append(all, i)
		for _, s := range q.series {
			name := printable(s.Name)
			if name == "" {
				name = printable(p.Y.Label)
			}
			if i == 0 {
				keys = append(keys, key{name, keyIcon(s)})
			}
			chart.MultiSeries = append(chart.MultiSeries, chartSeries(s, name, i, x)...)
		}
		chart.MultiSeries = append(chart.MultiSeries, chartMarks(q, i, f)...)
	}
	xs[len(xs)-1].Name = chartLabel(f.X)
	chart.XAxisList, chart.YAxisList = xs, ys
	chart.GridList = grids
	chart.Animation = opts.Bool(false)
	chart.Tooltip = opts.Tooltip{Show: opts.Bool(true), Trigger: "axis"}
	chart.Legend = opts.Legend{Show: opts.Bool(len(keys) > 1), Data: keys, Top: "26"}
	chart.Title = opts.Title{Title: printable(f.Title), Left: "0", Top: "0", TitleStyle: &opts.TextStyle{FontSize: 16, FontWeight: "bold", Color: hex(ink)}}
	chart.Toolbox = opts.Toolbox{Show: opts.Bool(false)}
	chart.DataZoomList = []opts.DataZoom{
		{Type: "inside", XAxisIndex: all, FilterMode: "none"},
		{Type: "slider", XAxisIndex: all, FilterMode: "none"},
	}
	data, err := json.Marshal(chart.JSON())
	if err != nil {
		return nil, false, fmt.Errorf("draw: chart: %w", err)
	}
	return data, true, nil
}

func share(p figure.Panel) float64 {
	if p.Share == 0 {
		return 0.45
	}
	return p.Share
}

// newPlotScale is the scale of the still figure, which a chart begins with and by which its
// lines are thinned.
func newPlotScale(f *figure.Figure) *scale { return (&plot{}).xScale(f) }

func percent(v float64) string { return fmt.Sprintf("%.4g%%", v) }

func axisType(a figure.Axis) string {
	if a.Log {
		return "log"
	}
	return "value"
}

// chartLabel names an axis; a chart numbers its axes itself.
func chartLabel(a figure.Axis) string { return printable(axisLabel(a, 0, 1, 0)) }

// gap is ECharts' sign for no value.
const gap = "-"

// chartSeries is a series and, on points, its bars of uncertainty, or around a
// line its limits.
func chartSeries(s styled, name string, panel int, x *scale) []charts.SingleSeries {
	col := hex(s.color)
	kept := thinned(len(s.X), func(i int) (float64, float64) {
		return x.norm(s.X[i]) * chartColumns, s.Y[i]
	})
	base := func(kind string) charts.SingleSeries {
		return charts.SingleSeries{Name: name, Type: kind, XAxisIndex: panel, YAxisIndex: panel, Color: col, ShowSymbol: opts.Bool(false)}
	}
	values := func(shift func(i int) float64) []any {
		var out []any
		for _, i := range kept {
			out = append(out, point(s.X[i], s.Y[i]+shift(i)))
		}
		return out
	}
	none := func(int) float64 { return 0 }
	main := base(types.ChartLine)
	main.Data = values(none)
	switch s.Kind {
	case figure.Points:
		main = base(types.ChartScatter)
		main.Data, main.SymbolSize, main.Symbol = values(none), 6, symbols[s.shape%len(symbols)]
	case figure.Steps:
		main.Step = "end"
		main.LineStyle = &opts.LineStyle{Width: 2, Type: lineType(s)}
	default:
		main.LineStyle = &opts.LineStyle{Width: 2, Type: lineType(s)}
	}
	out := []charts.SingleSeries{main}
	if len(s.U) == 0 {
		return out
	}
	if s.Kind == figure.Points {
		bars := base(types.ChartLine)
		bars.LineStyle = &opts.LineStyle{Width: 1}
		var data []any
		for _, i := range kept {
			data = append(data, point(s.X[i], s.Y[i]-s.U[i]), point(s.X[i], s.Y[i]+s.U[i]), []any{s.X[i], gap})
		}
		bars.Data = data
		return append(out, bars)
	}
	for _, sign := range []float64{-1, 1} {
		edge := base(types.ChartLine)
		edge.LineStyle = &opts.LineStyle{Width: 1, Opacity: opts.Float(0.5)}
		edge.Data = values(func(i int) float64 { return sign * s.U[i] })
		out = append(out, edge)
	}
	if s.Kind == figure.Band {
		out = out[1:]
	}
	return out
}

func point(x, y float64) []any {
	if math.IsNaN(y) {
		return []any{x, gap}
	}
	return []any{x, y}
}

// symbols are ECharts' names for the shapes of points.
var symbols = []string{"circle", "rect", "triangle", "diamond", "pin", "arrow", "roundRect"}

func lineType(s styled) string {
	switch {
	case len(s.dash) == 0:
		return "solid"
	case s.dash[0] < 2:
		return "dotted"
	}
	return "dashed"
}

// A key is a series in the key of a chart, with ECharts' name or path for its sign.
type key struct {
	Name string `json:"name"`
	Icon string `json:"icon"`
}

// keyIcon is a piece of the line, or the shape of the points.
func keyIcon(s styled) string {
	if s.Kind == figure.Points {
		return symbols[s.shape%len(symbols)]
	}
	switch lineType(s) {
	case "dotted":
		return "path://M0 4h2v2h-2zM6 4h2v2h-2zM12 4h2v2h-2zM18 4h2v2h-2zM24 4h2v2h-2z"
	case "dashed":
		return "path://M0 4h6v2h-6zM10 4h6v2h-6zM20 4h6v2h-6z"
	}
	return "path://M0 4h26v2h-26z"
}

// chartMarks draws the lines that point something out.
func chartMarks(q *panel, panel int, f *figure.Figure) []charts.SingleSeries {
	var out []charts.SingleSeries
	var x, y bounds
	for _, d := range f.Panels() {
		for _, s := range d.Series {
			x.add(figure.Range(s.X))
		}
	}
	for _, s := range q.series {
		y.add(figure.Range(s.Y))
	}
	for _, m := range q.marks {
		s := charts.SingleSeries{Name: printable(m.Text), Type: types.ChartLine, XAxisIndex: panel, YAxisIndex: panel,
			Color: "#666666", ShowSymbol: opts.Bool(false), LineStyle: &opts.LineStyle{Width: 1, Type: "dashed"}}
		switch m.Kind {
		case figure.Vertical:
			s.Data = []any{point(m.X, y.lo), point(m.X, y.hi)}
		case figure.Horizontal:
			s.Data = []any{point(x.lo, m.Y), point(x.hi, m.Y)}
		default:
			continue
		}
		out = append(out, s)
	}
	return out
}
