package page

import (
	"crypto/subtle"
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"
)

// keyHeader carries the page's own key. A web page elsewhere cannot send it
// without asking first, and is not answered.
const keyHeader = "X-Gravlab-Key"

// A door lets the reader's browser in, and nobody else.
type auth struct {
	hosts  []string
	cookie string // the browser's key
	page   string // the page's key
	patience

	mu   sync.Mutex
	once []string // keys of addresses that have not been used
}

func newDoor(hosts []string) *auth {
	return &auth{hosts: hosts, cookie: secret(), page: secret(), patience: patience{10 * time.Second, 16 << 10}}
}

// newKey makes a key that works once.
func (d *auth) newKey() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	k := secret()
	d.once = append(d.once, k)
	return k
}

func (d *auth) use(key string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	for i, k := range d.once {
		if same(k, key) {
			d.once = slices.Delete(d.once, i, i+1)
			return true
		}
	}
	return false
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// cookieName differs by port, so that two pages do not take each other's place.
func cookieName(r *http.Request) string {
	_, port, _ := net.SplitHostPort(r.Host)
	return "gravlab-" + port
}

// guard refuses what does not come from the page's own origin, and sets what
// every answer carries.
func (d *auth) guard(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.limit(w, r)
		h := w.Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		h.Set("Cache-Control", "no-store")
		switch {
		case !d.knows(r.Host):
			refuse(w, http.StatusForbidden, "this page answers to its own address only")
		case !ownOrigin(r):
			refuse(w, http.StatusForbidden, "this request comes from another page")
		case r.Header.Get("Upgrade") != "":
			refuse(w, http.StatusForbidden, "there is no other protocol here")
		case r.Method != http.MethodGet && r.Method != http.MethodPost:
			refuse(w, http.StatusMethodNotAllowed, "only GET and POST are answered")
		case r.Method == http.MethodPost && !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json"):
			refuse(w, http.StatusUnsupportedMediaType, "send JSON")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// knows reports whether host is one of this page's. A name that somebody else
// has pointed at this machine is not.
func (d *auth) knows(host string) bool {
	if len(d.hosts) > 0 {
		return slices.Contains(d.hosts, host)
	}
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if name == "localhost" {
		return true
	}
	_, err = netip.ParseAddr(strings.Trim(name, "[]"))
	return err == nil
}

// ownOrigin reports whether a request comes from a page of this server, or from
// the reader's own hand.
func ownOrigin(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" && origin != "http://"+r.Host {
		return false
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	// A link on another page may lead here: what it gets holds nothing yet.
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document" &&
		(r.URL.Path == "/" || strings.HasPrefix(r.URL.Path, "/lab/"))
}

// enter takes the key of an address, once, and gives the other two.
func (d *auth) enter(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Key string `json:"key"`
	}
	if json.NewDecoder(http.MaxBytesReader(w, r.Body, 1000)).Decode(&in) != nil || !d.use(in.Key) {
		refuse(w, http.StatusForbidden, "this address has been used already")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: d.cookie, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	reply(w, map[string]string{"page": d.page})
}

// hasCookie looks at all cookies of the name: whatever else listens at this
// address, at any port, may have set some, and those of a longer path come first.
func (d *auth) hasCookie(r *http.Request) bool {
	return slices.ContainsFunc(r.CookiesNamed(cookieName(r)), func(c *http.Cookie) bool { return same(c.Value, d.cookie) })
}

// keyed asks for both keys.
func (d *auth) keyed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !d.hasCookie(r) || !same(r.Header.Get(keyHeader), d.page) {
			refuse(w, http.StatusUnauthorized, "this tab has no key")
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, 8<<20)
		next.ServeHTTP(w, r)
	})
}

// cookieOnly is for frames, which cannot send a header; their addresses are
// secrets of their own.
func (d *auth) cookieOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if dest := r.Header.Get("Sec-Fetch-Dest"); !d.hasCookie(r) || dest != "" && dest != "iframe" {
			refuse(w, http.StatusUnauthorized, "frames are shown inside the page only")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// refuse says in one sentence why not.
func refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]string{"error": why})
}

func reply(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}
