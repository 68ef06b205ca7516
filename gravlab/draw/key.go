package draw

import (
	"gonum.org/v1/plot/vg"
	vgdraw "gonum.org/v1/plot/vg/draw"

	"gravity.example/gravlab/draw/figure"
)

// A keyRow is one row of the key above a panel. The key is not put into the
// plot area, where it would cover data.
type keyRow []keyEntry

type keyEntry struct {
	styled
	x    vg.Length
	text string
}

const keyMark = 22 // width of the sample in front of a name

// layKey puts the names of series side by side, in as many rows as needed.
func layKey(series []styled, w vg.Length) []keyRow {
	named := 0
	for _, s := range series {
		if s.Name != "" {
			named++
		}
	}
	if len(series) < 2 || named == 0 { // a single series is named by its axis
		return nil
	}
	var rows []keyRow
	x := vg.Length(0)
	for _, s := range series {
		if s.Name == "" {
			continue
		}
		if s.color == mapInk {
			s.color = ink // the key stands beside the map
		}
		text := printable(s.Name)
		need := keyMark + 4 + axisText.width(text)
		if rows == nil || x > 0 && x+need > w {
			rows = append(rows, nil)
			x = 0
		}
		rows[len(rows)-1] = append(rows[len(rows)-1], keyEntry{s, x, text})
		x += need + 14
	}
	return rows
}

func (row keyRow) draw(c *vgdraw.Canvas, at vg.Point) {
	for _, e := range row {
		x, y := at.X+e.x, at.Y+textSize*rise/2
		switch e.Kind {
		case figure.Points:
			var marks, bars vg.Path
			if len(e.U) > 0 {
				bars.Move(vg.Point{X: x + keyMark/2, Y: y - 5})
				bars.Line(vg.Point{X: x + keyMark/2, Y: y + 5})
				stroke(c, bars, e.color, 1, nil)
			}
			shapes[e.shape%len(shapes)](&marks, vg.Point{X: x + keyMark/2, Y: y}, 2.8)
			c.SetColor(e.color)
			c.Fill(marks)
		default:
			if len(e.U) > 0 {
				fill(c, vg.Rectangle{Min: vg.Point{X: x, Y: y - 4}, Max: vg.Point{X: x + keyMark, Y: y + 4}}, tint(e.color, bandTint))
			}
			if e.Kind != figure.Band {
				var path vg.Path
				path.Move(vg.Point{X: x, Y: y})
				path.Line(vg.Point{X: x + keyMark, Y: y})
				stroke(c, path, e.color, lineWidth, e.dash)
			}
		}
		axisText.put(c, vg.Point{X: x + keyMark + 4, Y: at.Y}, 0, 0, e.text)
	}
}
