package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html"
	"io/fs"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"

	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/internal/fonts"
	"gravity.example/gravlab/internal/webassets"
)

//go:embed assets
var embedded embed.FS

func hasAsset(name string) bool {
	_, err := fs.Stat(embedded, "assets/"+name)
	return err == nil
}

// builtEditor is the built editor's name in addresses; assets/editor.js chooses
// between it and a plain text area.
const builtEditor = "go-editor.js"

// shell serves the page without anything in it: the rest comes with the keys.
func (s *Server) shell(w http.ResponseWriter, r *http.Request) { s.writeShell(w, http.StatusOK) }

// missing answers at every address where nothing is: a browser gets the page, which
// says so and leads back.
func (s *Server) missing(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet {
		door.Refuse(w, http.StatusNotFound, "there is nothing at this address")
		return
	}
	s.writeShell(w, http.StatusNotFound)
}

func (s *Server) writeShell(w http.ResponseWriter, status int) {
	text, err := embedded.ReadFile("assets/shell.html")
	if err != nil {
		door.Refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	nonce := door.Secret()
	w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self' 'nonce-"+nonce+"'; "+
		"style-src-attr 'unsafe-inline'; img-src 'self' data:; font-src 'self'; connect-src 'self'; frame-src 'self'; worker-src 'self'; "+
		"base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	editor := ""
	if s.o.Web != "" {
		editor = "/asset/" + builtEditor
	}
	apparatus := ""
	if s.o.Apparatus != nil {
		apparatus = "/apparatus/"
	}
	shared, place, reader := "", "", ""
	if s.o.Seat != nil {
		shared, place, reader = "yes", s.o.Seat.Name, s.o.Seat.Reader
	}
	w.WriteHeader(status)
	page := strings.NewReplacer("{{shared}}", shared, "{{place}}", html.EscapeString(place), "{{reader}}", html.EscapeString(reader), "{{nonce}}", nonce, "{{editor}}", html.EscapeString(editor), "{{apparatus}}", html.EscapeString(apparatus)).Replace(string(text))
	w.Write([]byte(page))
}

// asset serves the page's own scripts and styles, and the built editor.
func (s *Server) asset(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("name")
	text, err := embedded.ReadFile("assets/" + path.Base(name))
	switch {
	case name == builtEditor && s.o.Web != "":
		text, err = os.ReadFile(filepath.Join(s.o.Web, webassets.Editor))
	case name == "fonts.css":
		text, err = []byte(fonts.Linked("/asset/")), nil
	case path.Ext(name) == ".woff2":
		text, err = fonts.File(name)
	}
	if err != nil || name == "shell.html" {
		door.Refuse(w, http.StatusNotFound, "there is no such file")
		return
	}
	ServeAsset(w, r, name, text)
}

// sample serves a page that marking wrote about invented students, for lecturers to look
// at. It runs nothing.
func (s *Server) sample(w http.ResponseWriter, r *http.Request) {
	text, err := embedded.ReadFile("assets/sample-" + path.Base(r.PathValue("name")))
	if err != nil {
		s.missing(w, r)
		return
	}
	w.Header().Set("Content-Security-Policy", "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'")
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Write(text)
}

// apparatus serves the files of the virtual apparatus.
func (s *Server) apparatus(w http.ResponseWriter, r *http.Request) {
	name := r.PathValue("path")
	if s.o.Apparatus == nil || !fs.ValidPath(name) {
		door.Refuse(w, http.StatusNotFound, "there is no such file")
		return
	}
	text, err := s.o.Apparatus(name)
	if err != nil {
		door.Refuse(w, http.StatusNotFound, "there is no such file")
		return
	}
	ServeAsset(w, r, name, text)
}

// mimes are the types of what is served. The system's own list may be wrong.
var mimes = map[string]string{".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml", ".wasm": "application/wasm", ".json": "application/json", ".woff2": "font/woff2"}

// ServeAsset serves a file of a page, packed where the browser takes that, which the browser may
// keep as long as it asks whether it is still the same. Files of types that no page has are not
// there.
func ServeAsset(w http.ResponseWriter, r *http.Request, name string, text []byte) {
	mime, ok := mimes[path.Ext(name)]
	if !ok {
		door.Refuse(w, http.StatusNotFound, "there is no such file")
		return
	}
	sum := sha256.Sum256(text)
	tag := fmt.Sprintf("%q", hex.EncodeToString(sum[:12]))
	w.Header().Set("Cache-Control", "no-cache")
	w.Header().Set("ETag", tag)
	if r.Header.Get("If-None-Match") == tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.Header().Set("Content-Type", mime)
	w.Header().Set("Vary", "Accept-Encoding")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && len(text) > 1400 && mime != "font/woff2" { // less fits into one packet, and type is packed already
		text = packed(tag, text)
		w.Header().Set("Content-Encoding", "gzip")
	}
	w.Header().Set("Content-Length", fmt.Sprint(len(text)))
	bytes.NewReader(text).WriteTo(w)
}

// packs are the files of the page as gzip, by their tags: there are few, and each is
// packed once. The apparatus goes over a class's network as a third of its size.
var packs sync.Map

func packed(tag string, text []byte) []byte {
	if p, ok := packs.Load(tag); ok {
		return p.([]byte)
	}
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	w.Write(text) // a buffer takes all
	w.Close()
	packs.Store(tag, b.Bytes())
	return b.Bytes()
}
