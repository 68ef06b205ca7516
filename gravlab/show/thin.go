package show

import "gravity.example/gravlab/draw/figure"

// room is how many numbers fit into one frame beside the head.
const room = 120_000

// thin returns f, or a copy of it that fits into a frame and looks the same.
func thin(f *figure.Figure) *figure.Figure {
	if count(f) <= room {
		return f
	}
	return figure.Thin(f, room/3) // X, Y and U
}

func count(f *figure.Figure) int {
	n := 0
	for _, p := range f.Panels() {
		for _, s := range p.Series {
			n += len(s.X) + len(s.Y) + len(s.U)
		}
	}
	return n
}
