package report

import (
	"encoding/xml"
	"html"
	"io"
	"regexp"
	"strings"
)

// harmless are the elements that HTML of a cell may be rebuilt from. None of
// them loads or runs anything.
var harmless = map[string]bool{
	"p": true, "br": true, "hr": true, "div": true, "span": true, "b": true, "strong": true, "i": true, "em": true, "u": true, "small": true,
	"sub": true, "sup": true, "code": true, "kbd": true, "samp": true, "var": true, "pre": true, "blockquote": true,
	"ul": true, "ol": true, "li": true, "dl": true, "dt": true, "dd": true,
	"table": true, "caption": true, "thead": true, "tbody": true, "tfoot": true, "tr": true, "th": true, "td": true,
	"h1": true, "h2": true, "h3": true, "h4": true, "h5": true, "h6": true,
}

// empty are the elements without content.
var empty = map[string]bool{"br": true, "hr": true}

// dropped are attributes that are left out without harm to the meaning.
var dropped = map[string]bool{"class": true, "id": true, "role": true, "title": true, "border": true, "aria-hidden": true, "aria-label": true}

// kept are attributes that are passed on if their value is of this form.
var kept = map[string]*regexp.Regexp{
	"colspan": regexp.MustCompile(`^[0-9]{1,3}$`),
	"rowspan": regexp.MustCompile(`^[0-9]{1,3}$`),
	"scope":   regexp.MustCompile(`^(row|col)$`),
}

var alignment = regexp.MustCompile(`(?:^|;)\s*text-align\s*:\s*(left|right|center)\s*(?:;|$)`)

// simple rebuilds HTML from harmless elements, token by token, so that nothing
// gets through that is not named above. ok is false for anything else, and for
// HTML whose tags do not match.
func simple(s string) (out string, ok bool) {
	if len(s) > 1_000_000 {
		return "", false
	}
	d := xml.NewDecoder(strings.NewReader(s))
	d.Strict = false
	d.AutoClose = []string{"br", "hr", "BR", "HR"}
	d.Entity = xml.HTMLEntity
	var b strings.Builder
	depth := 0
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return b.String(), depth == 0
		}
		if err != nil {
			return "", false
		}
		switch t := tok.(type) {
		case xml.StartElement:
			name := strings.ToLower(t.Name.Local)
			if !harmless[name] || t.Name.Space != "" {
				return "", false
			}
			attributes, ok := rebuild(t.Attr)
			if !ok || depth > 100 {
				return "", false
			}
			b.WriteString("<" + name + attributes + ">")
			depth++
		case xml.EndElement:
			name := strings.ToLower(t.Name.Local)
			if !empty[name] {
				b.WriteString("</" + name + ">")
			}
			depth--
		case xml.CharData:
			b.WriteString(html.EscapeString(string(t)))
		case xml.Comment:
		default:
			return "", false
		}
	}
}

func rebuild(attributes []xml.Attr) (string, bool) {
	var b strings.Builder
	for _, a := range attributes {
		name := strings.ToLower(a.Name.Local)
		switch {
		case a.Name.Space != "":
			return "", false
		case name == "style":
			if m := alignment.FindStringSubmatch(a.Value); m != nil {
				b.WriteString(` style="text-align:` + m[1] + `"`)
			}
		case kept[name] != nil:
			if kept[name].MatchString(a.Value) {
				b.WriteString(" " + name + `="` + a.Value + `"`)
			}
		case !dropped[name]:
			return "", false
		}
	}
	return b.String(), true
}
