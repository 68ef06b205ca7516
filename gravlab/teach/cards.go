package teach

import (
	"fmt"
	"html/template"
	"path/filepath"
	"strings"

	"github.com/boombuler/barcode/qr"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/htmlpage"
)

// A cardView is a card as it is printed.
type cardView struct {
	Name, Code string
	Grouped    string
	QR         template.HTML
}

var cardTemplates = htmlpage.Templates(embedded, "assets/cards.html", nil)

// cardOf adds what is printed of a code: its groups, and the address that carries it. The
// code is in the fragment, which a browser keeps to itself.
func (c *Class) cardOf(v cardView) (cardView, error) {
	v.Grouped = grouped(v.Code)
	square, err := drawQR(c.o.Address + "/#code=" + v.Code)
	v.QR = square
	return v, err
}

// drawQR draws a QR code (ISO/IEC 18004) as SVG, with the quiet zone of four modules that it
// asks for.
func drawQR(text string) (template.HTML, error) {
	code, err := qr.Encode(text, qr.M, qr.Auto)
	if err != nil {
		return "", fmt.Errorf("the QR code: %w", err)
	}
	n := code.Bounds().Dx()
	var path strings.Builder
	for y := range n {
		for x := range n {
			if r, _, _, _ := code.At(x, y).RGBA(); r == 0 {
				fmt.Fprintf(&path, "M%d %dh1v1h-1z", x+4, y+4)
			}
		}
	}
	return template.HTML(fmt.Sprintf(`<svg class="qr" viewBox="0 0 %d %d" role="img" aria-label="QR code with the address and the code"><rect width="100%%" height="100%%" fill="#fff"/><path d="%s" fill="#000" shape-rendering="crispEdges"/></svg>`,
		n+8, n+8, path.String())), nil
}

// writeCards writes cards to print to a free name in the data folder.
func (c *Class) writeCards(cards []cardView) (file string, err error) {
	for i := range cards {
		if cards[i], err = c.cardOf(cards[i]); err != nil {
			return "", err
		}
	}
	style, err := embedded.ReadFile("assets/cards.css")
	if err != nil {
		return "", err
	}
	body := htmlpage.Render(cardTemplates, "cards", struct {
		Cards          []cardView
		Address, Warns string
	}{cards, c.o.Address, c.o.Warns})
	text := htmlpage.Page{Title: "Cards", Style: string(style), Body: body}.Bytes()
	file = atomicfile.FreeName(func(n int) string {
		if n == 1 {
			return filepath.Join(c.o.Data, "cards.html")
		}
		return filepath.Join(c.o.Data, fmt.Sprintf("cards-%d.html", n))
	})
	return file, atomicfile.WriteFile(file, text, 0o600)
}
