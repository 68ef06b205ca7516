package draw

import (
	"encoding/json"
	"fmt"
	"image/color"
	"maps"
	"slices"
	"strings"
)

// The colours of a figure on a dark page. Lines and points keep their hue and get lighter,
// until each stands out from the ground at least 3 to 1 as WCAG 2.2 asks of graphics (success
// criterion 1.4.11); letters get 4.5 to 1 (1.4.3).
var darkColors = map[color.NRGBA]color.NRGBA{
	white:      darkGround,
	ink:        {0xe4, 0xe2, 0xdc, 255},
	grey:       {0xa9, 0xad, 0xb5, 255},
	faint:      {0x33, 0x37, 0x3f, 255},
	shade:      {0x26, 0x2a, 0x31, 255},
	support:    {0x45, 0x49, 0x51, 255},
	palette[0]: {0x4a, 0xa8, 0xe0, 255},
	palette[1]: {0xf0, 0x84, 0x3c, 255},
	palette[2]: {0x34, 0xc0, 0x96, 255},
	palette[3]: {0xdd, 0x94, 0xbd, 255},
	palette[4]: {0xf0, 0xef, 0xe9, 255},
	palette[5]: palette[5],
	palette[6]: palette[6],
}

// The paper of the pages, by day and in the dark.
var (
	paper      = color.NRGBA{0xfd, 0xfc, 0xf9, 255}
	darkGround = color.NRGBA{0x17, 0x19, 0x1d, 255}
)

// inTheDark names each colour that a figure uses and its relative in the dark, as in
// "#ffffff". The colours of a map are a scale on which values are read off, so they stay.
func inTheDark() map[string]string {
	turned := map[string]string{}
	for from, to := range darkColors {
		turned[hex(from)] = hex(to)
	}
	for _, c := range palette {
		for _, share := range tints {
			turned[hex(tint(c, share))] = hex(blend(darkColors[c], darkGround, share))
		}
	}
	return turned
}

// darkTable is inTheDark for a script.
func darkTable() string {
	text, err := json.Marshal(inTheDark()) // in the order of the names
	if err != nil {
		panic(err) // it is text alone
	}
	return string(text)
}

// pageStyle gives a figure the paper of the pages instead of white, and its colours in the dark.
var pageStyle = func() string {
	turned := inTheDark()
	var b strings.Builder
	fmt.Fprintf(&b, `<style>@media screen{[fill="%s"]{fill:%s}}`, hex(white), hex(paper))
	b.WriteString("@media screen and (prefers-color-scheme:dark){")
	for _, from := range slices.Sorted(maps.Keys(turned)) {
		if to := turned[from]; from != to {
			fmt.Fprintf(&b, `[fill="%[1]s"]{fill:%[2]s}[stroke="%[1]s"]{stroke:%[2]s}`, from, to)
		}
	}
	b.WriteString("}</style>\n")
	return b.String()
}()

// OnPage returns an SVG of this package as the pages of gravlab show it: on their paper, and
// with colours of its own for readers who ask for a dark page. A printer sees it as it was.
// What is not from this package comes back unchanged: its colours may mean something else.
//
// It is for pages that turn dark themselves. A notebook has a scheme of its own, of which an
// image inside learns nothing.
func OnPage(svg string) string {
	head, rest, found := strings.Cut(svg, "\n")
	if !found || !strings.HasPrefix(head, svgHead) || !strings.HasSuffix(head, svgFonts) {
		return svg
	}
	return head + "\n" + pageStyle + rest
}
