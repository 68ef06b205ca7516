package draw

import (
	"image/color"
	"math"
	"regexp"
	"strings"
	"testing"
)

// luminance and contrast follow WCAG 2.2, "relative luminance" and "contrast ratio".
func luminance(c color.NRGBA) float64 {
	part := func(v uint8) float64 {
		s := float64(v) / 255
		if s <= 0.04045 {
			return s / 12.92
		}
		return math.Pow((s+0.055)/1.055, 2.4)
	}
	return 0.2126*part(c.R) + 0.7152*part(c.G) + 0.0722*part(c.B)
}

func contrast(a, b color.NRGBA) float64 {
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestContrastOfBlackAndWhite(t *testing.T) {
	if c := contrast(white, color.NRGBA{A: 255}); math.Abs(c-21) > 1e-9 {
		t.Errorf("black on white has %v; WCAG says 21", c)
	}
}

func TestDarkStandsOut(t *testing.T) {
	for _, c := range palette {
		if got := contrast(darkColors[c], darkGround); got < 3 {
			t.Errorf("%s in the dark has a contrast of %.2f; 3 is asked for", hex(c), got)
		}
	}
	for _, c := range []color.NRGBA{ink, grey} {
		if got := contrast(darkColors[c], darkGround); got < 4.5 {
			t.Errorf("letters in %s in the dark have a contrast of %.2f; 4.5 is asked for", hex(c), got)
		}
	}
	for i, a := range palette {
		for _, b := range palette[:i] {
			if darkColors[a] == darkColors[b] {
				t.Errorf("%s and %s are the same in the dark", hex(a), hex(b))
			}
		}
	}
}

// Every colour that a figure uses has a relative in the dark, but those of a map's scale.
func TestDarkKnowsEveryColor(t *testing.T) {
	used := regexp.MustCompile(`(?:fill|stroke)="(#[0-9a-f]{6})"`)
	for name, f := range gallery() {
		svg, err := SVG(f)
		if err != nil {
			t.Fatal(err)
		}
		dark := OnPage(string(svg))
		if dark == string(svg) {
			t.Errorf("%s has no dark variant", name)
		}
		if strings.Contains(dark, "<image") || strings.Contains(dark, hex(mapInk)) {
			continue // a map
		}
		for _, m := range used.FindAllStringSubmatch(string(svg), -1) {
			if !strings.Contains(pageStyle, m[1]) && m[1] != hex(palette[5]) && m[1] != hex(palette[6]) {
				t.Errorf("%s: %s has no relative in the dark", name, m[1])
			}
		}
	}
}

func TestOnPageLeavesOthersAlone(t *testing.T) {
	for _, s := range []string{"", "<svg>", svgHead + ">\n</svg>\n", "<p>\n" + svgHead} {
		if OnPage(s) != s {
			t.Errorf("%q was changed", s)
		}
	}
}
