package teach

import (
	"compress/gzip"
	"embed"
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"path"
	"strings"
	"time"

	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/page"
)

//go:embed assets
var embedded embed.FS

// Addresses are those to which a link elsewhere may lead.
var Addresses = []string{"/", "/lab/", "/lecturer"}

// Handler answers all requests of the class.
func (c *Class) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("POST /enter", c.enter)
	mux.HandleFunc("POST /leave", c.leave)
	mux.HandleFunc("GET /lecturer", c.shell)
	mux.HandleFunc("GET /asset/{name}", c.asset)
	mux.Handle("GET /apparatus/", c.lobby.Handler())
	mux.HandleFunc("GET /api/place", c.atPlace(c.look))
	mux.HandleFunc("POST /api/place/help", c.atPlace(c.help))
	mux.Handle("GET /api/class/now", c.lecturer.Keyed(http.HandlerFunc(c.now)))
	mux.Handle("POST /api/class/{what}", c.lecturer.Keyed(http.HandlerFunc(c.do)))
	mux.HandleFunc("/", c.toPlace)
	return c.o.Door.Guard(mux)
}

// toPlace hands a request to the page of the student whose browser sends it.
func (c *Class) toPlace(w http.ResponseWriter, r *http.Request) {
	p := c.placeOf(r)
	if p == nil {
		c.lobby.Handler().ServeHTTP(w, r)
		return
	}
	p.using.Add(1)
	defer p.using.Add(-1)
	c.saw(p)
	s, err := p.open()
	if err != nil {
		c.o.Log(p.student.ID + ": " + err.Error())
		door.Refuse(w, http.StatusInternalServerError, "your place cannot be opened; please call your lecturer")
		return
	}
	w.Header().Set("X-Accel-Buffering", "no") // a proxy that would hold back what a box prints
	s.Handler().ServeHTTP(w, r)
}

func (c *Class) saw(p *place) {
	c.mu.Lock()
	p.seen = time.Now()
	c.mu.Unlock()
}

// atPlace finds the place of a request and asks for both of its keys.
func (c *Class) atPlace(do func(w http.ResponseWriter, r *http.Request, p *place)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		p := c.placeOf(r)
		if p == nil || !p.keys.HasBoth(r) {
			door.Refuse(w, http.StatusUnauthorized, "this tab has no key")
			return
		}
		c.saw(p)
		do(w, r, p)
	}
}

// look tells a student what the lecturer has to say.
func (c *Class) look(w http.ResponseWriter, _ *http.Request, p *place) {
	c.mu.Lock()
	defer c.mu.Unlock()
	id := p.student.ID
	_, help := c.hour.Help[id]
	left := 0
	if end := c.hour.end(id); !end.IsZero() {
		left = max(0, int(time.Until(end).Seconds()))
	}
	door.Reply(w, map[string]any{"note": c.hour.Note, "help": help, "left": left, "frozen": c.hour.Frozen[id] != ""})
}

// help notes that a student asks for help, or no longer does.
func (c *Class) help(w http.ResponseWriter, r *http.Request, p *place) {
	var in struct{ On bool }
	if json.NewDecoder(http.MaxBytesReader(w, r.Body, 1000)).Decode(&in) != nil {
		door.Refuse(w, http.StatusBadRequest, "this request cannot be read")
		return
	}
	c.mu.Lock()
	if in.On {
		c.hour.Help[p.student.ID] = time.Now().UTC().Truncate(time.Second)
	} else {
		delete(c.hour.Help, p.student.ID)
	}
	c.keep()
	c.mu.Unlock()
	c.look(w, r, p)
}

// enter lets in a student by the code of a card, or the lecturer by the key of an address.
func (c *Class) enter(w http.ResponseWriter, r *http.Request) {
	var in struct{ Key, Code string }
	if json.NewDecoder(http.MaxBytesReader(w, r.Body, 1000)).Decode(&in) != nil {
		door.Refuse(w, http.StatusBadRequest, "this request cannot be read")
		return
	}
	if in.Key != "" {
		c.o.Door.Admit(w, r, c.lecturer, in.Key)
		return
	}
	p, status, problem := c.byCode(in.Code, c.from(r))
	if p == nil {
		door.Refuse(w, status, problem)
		return
	}
	c.mu.Lock()
	keys, name := p.keys, p.name
	c.mu.Unlock()
	c.o.Door.Let(w, r, keys)
	door.Reply(w, map[string]string{"page": keys.Page, "place": name})
}

// byCode finds the place that a code opens.
func (c *Class) byCode(text, from string) (p *place, status int, problem string) {
	code, err := parseCode(text)
	if err != nil {
		return nil, http.StatusBadRequest, err.Error()
	}
	id, card := c.roll.named(code)
	about := "card " + id
	wrong := func() (*place, int, string) {
		tooMany := c.limiter.full(from, perAddress) || c.limiter.full("all", inAll)
		c.limiter.add(from, perAddress)
		c.limiter.add("all", inAll)
		if tooMany {
			return nil, http.StatusTooManyRequests, "too many codes that open nothing have come from this network; check the code of your card, and try again in a minute"
		}
		return nil, http.StatusForbidden, "no card of this class has this code; has your lecturer given you another card"
	}
	if id == "" {
		return wrong()
	}
	if c.limiter.full(about, perCard) {
		return nil, http.StatusTooManyRequests, "too many wrong codes that begin like this one have come; try again in a minute, or ask your lecturer for another card"
	}
	if !c.roll.opens(card, code) {
		c.limiter.add(about, perCard)
		return wrong()
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, p := range c.places {
		if p.student.ID == id {
			return p, 0, ""
		}
	}
	return nil, http.StatusForbidden, "the student of this card is not in the class list any more; please ask your lecturer"
}

// from is the address that a request comes from, as limits count it: of IPv6 the network.
func (c *Class) from(r *http.Request) string {
	text, _, err := net.SplitHostPort(r.RemoteAddr)
	if err != nil {
		text = r.RemoteAddr
	}
	if all := r.Header.Values("X-Forwarded-For"); c.o.Proxy && len(all) > 0 {
		hops := strings.Split(all[len(all)-1], ",")
		text = strings.TrimSpace(hops[len(hops)-1]) // what the proxy itself has seen
	}
	a, err := netip.ParseAddr(text)
	if err != nil {
		return "elsewhere"
	}
	if a = a.Unmap(); a.Is6() {
		if net, err := a.WithZone("").Prefix(64); err == nil {
			return net.String()
		}
	}
	return a.String()
}

// leave takes the cookie out of a browser.
func (c *Class) leave(w http.ResponseWriter, r *http.Request) {
	c.o.Door.Forget(w, r, &door.Keys{Name: "gravlab"})
	door.Reply(w, struct{}{})
}

// shell serves the lecturer's page without anything in it.
func (c *Class) shell(w http.ResponseWriter, _ *http.Request) {
	text, err := embedded.ReadFile("assets/lecturer.html")
	if err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; img-src 'self' data:; font-src 'self'; "+
		"connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(text)
}

// asset serves the scripts and styles: the lecturer's, else those of the page.
func (c *Class) asset(w http.ResponseWriter, r *http.Request) {
	name := path.Base(r.PathValue("name"))
	text, err := embedded.ReadFile("assets/" + name)
	if err != nil {
		c.lobby.Handler().ServeHTTP(w, r)
		return
	}
	page.ServeAsset(w, r, name, text)
}

// packed compresses an answer where the browser takes it.
func packed(w http.ResponseWriter, r *http.Request, v any) {
	if !strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		door.Reply(w, v)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Encoding", "gzip")
	z := gzip.NewWriter(w)
	defer z.Close()
	json.NewEncoder(z).Encode(v)
}
