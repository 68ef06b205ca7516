// Package door lets the browsers of known readers into a local web page, and no one else.
//
// A Door refuses what does not come from the page's own origin. Keys are what one reader's
// browser carries: a cookie, and a second key that the page keeps to itself and sends with
// every request. The cookie alone opens nothing: a browser sends a cookie of 127.0.0.1 to
// every port of it, so other programs on the machine may see it.
package door

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/hex"
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"sync"
	"time"
)

// KeyHeader carries the page's own key. A web page elsewhere cannot send it
// without asking first, and is not answered.
const KeyHeader = "X-Gravlab-Key"

// A Door stands in front of a page; the zero value serves http at any address of this
// machine by number, and localhost.
type Door struct {
	// Hosts are the host names, with port, that the page answers to. Empty: any
	// address of this machine by number, and localhost.
	Hosts []string
	// TLS says that the page's own origin begins with https, whether this program or a
	// proxy in front of it does the encryption.
	TLS bool
	// Pages are what a link on another page may lead to: paths, and beginnings of
	// paths that end in a slash. What they answer holds nothing yet.
	Pages []string
	// Grace is how long the body of a request may take to come, with a second more for each
	// Rate bytes of it that have come; 0: 10 s and 16 KiB.
	Grace time.Duration
	Rate  int64
}

// Keys let one reader in.
type Keys struct {
	Name         string // what the cookie's name begins with
	Cookie, Page string // the browser's key and the page's

	mu   sync.Mutex
	once []string // keys of addresses that have not been used
}

// NewKeys makes keys at random.
func NewKeys(name string) *Keys { return &Keys{Name: name, Cookie: Secret(), Page: Secret()} }

// Secret returns 128 random bits.
func Secret() string {
	b := make([]byte, 16)
	rand.Read(b) // never fails
	return hex.EncodeToString(b)
}

// Once makes a key that works once, for an address.
func (k *Keys) Once() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	key := Secret()
	k.once = append(k.once, key)
	return key
}

// Use takes the key of an address, once.
func (k *Keys) Use(key string) bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	for i, one := range k.once {
		if same(one, key) {
			k.once = slices.Delete(k.once, i, i+1)
			return true
		}
	}
	return false
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// cookieName differs by port, so that two pages do not replace each other's cookie.
func (k *Keys) cookieName(r *http.Request) string {
	_, port, _ := net.SplitHostPort(r.Host)
	return k.Name + "-" + port
}

// Origin is the page's own, as browsers and policies name it.
func (d *Door) Origin(r *http.Request) string {
	if d.TLS {
		return "https://" + r.Host
	}
	return "http://" + r.Host
}

// Guard refuses what does not come from the page's own origin, and sets what
// every answer carries.
func (d *Door) Guard(next http.Handler) http.Handler {
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
			Refuse(w, http.StatusForbidden, "this page answers to its own address only")
		case !d.ownOrigin(r):
			Refuse(w, http.StatusForbidden, "this request comes from another page")
		case r.Header.Get("Upgrade") != "":
			Refuse(w, http.StatusForbidden, "there is no other protocol here")
		case r.Method != http.MethodGet && r.Method != http.MethodPost:
			Refuse(w, http.StatusMethodNotAllowed, "only GET and POST are answered")
		case r.Method == http.MethodPost && !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json"):
			Refuse(w, http.StatusUnsupportedMediaType, "send JSON")
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// knows reports whether host is one of this page's. A name that somebody else
// has pointed at this machine is not.
func (d *Door) knows(host string) bool {
	if len(d.Hosts) > 0 {
		return slices.Contains(d.Hosts, host)
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
func (d *Door) ownOrigin(r *http.Request) bool {
	if origin := r.Header.Get("Origin"); origin != "" && origin != d.Origin(r) {
		return false
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
		return true
	}
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document" &&
		slices.ContainsFunc(d.Pages, func(p string) bool {
			return r.URL.Path == p || p != "/" && strings.HasSuffix(p, "/") && strings.HasPrefix(r.URL.Path, p)
		})
}

// Enter takes the key of an address, once, and gives the other two.
func (d *Door) Enter(k *Keys) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		var in struct {
			Key string `json:"key"`
		}
		if json.NewDecoder(http.MaxBytesReader(w, r.Body, 1000)).Decode(&in) != nil {
			in.Key = "" // which opens nothing
		}
		d.Admit(w, r, k, in.Key)
	}
}

// Admit gives a browser the other two keys for that of an address, which works once.
func (d *Door) Admit(w http.ResponseWriter, r *http.Request, k *Keys, key string) {
	if !k.Use(key) {
		Refuse(w, http.StatusForbidden, "this address has been used already")
		return
	}
	d.Let(w, r, k)
	Reply(w, map[string]string{"page": k.Page})
}

// Let gives a browser its cookie; the page's key is for the caller to send.
func (d *Door) Let(w http.ResponseWriter, r *http.Request, k *Keys) {
	http.SetCookie(w, &http.Cookie{Name: k.cookieName(r), Value: k.Cookie, Path: "/", HttpOnly: true, Secure: d.TLS, SameSite: http.SameSiteStrictMode})
}

// Forget takes the cookie of this name out of a browser.
func (d *Door) Forget(w http.ResponseWriter, r *http.Request, k *Keys) {
	http.SetCookie(w, &http.Cookie{Name: k.cookieName(r), Path: "/", MaxAge: -1, HttpOnly: true, Secure: d.TLS, SameSite: http.SameSiteStrictMode})
}

// Cookies are the values that a browser sends for keys of a name: whatever else listens at
// this address, at any port, may have set some, and those of a longer path come first.
func Cookies(r *http.Request, name string) []string {
	var values []string
	for _, c := range r.CookiesNamed((&Keys{Name: name}).cookieName(r)) {
		values = append(values, c.Value)
	}
	return values
}

// HasCookie reports whether a request carries the cookie.
func (k *Keys) HasCookie(r *http.Request) bool {
	return slices.ContainsFunc(Cookies(r, k.Name), func(v string) bool { return same(v, k.Cookie) })
}

// HasBoth reports whether a request carries both keys.
func (k *Keys) HasBoth(r *http.Request) bool {
	return k.HasCookie(r) && same(r.Header.Get(KeyHeader), k.Page)
}

// MaxBody is how many bytes the body of a request may have.
const MaxBody = 8 << 20

// Keyed asks for both keys.
func (k *Keys) Keyed(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !k.HasBoth(r) {
			Refuse(w, http.StatusUnauthorized, "this tab has no key")
			return
		}
		if r.ContentLength > MaxBody {
			Refuse(w, http.StatusRequestEntityTooLarge, "this is more than 8 MB; nothing of it was taken")
			return
		}
		r.Body = http.MaxBytesReader(w, r.Body, MaxBody)
		next.ServeHTTP(w, r)
	})
}

// CookieOnly is for frames, which cannot send a header; their addresses are
// secrets of their own.
func (k *Keys) CookieOnly(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if dest := r.Header.Get("Sec-Fetch-Dest"); !k.HasCookie(r) || dest != "" && dest != "iframe" {
			Refuse(w, http.StatusUnauthorized, "frames are shown inside the page only")
			return
		}
		next.ServeHTTP(w, r)
	})
}

// Refuse says in one sentence why not.
func Refuse(w http.ResponseWriter, status int, why string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	json.NewEncoder(w).Encode(map[string]string{"error": why})
}

// Reply answers with JSON.
func Reply(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}
