// Package page serves the labs as a local page: text with its figures and math,
// answers where they are asked, and boxes of code that run confined.
//
// Most callers need New and Server.Handler; Server.Address makes the address
// that opens the page once.
//
// # Whose page it is
//
// The address holds a key that works once. With it the browser gets a cookie, and
// the page a second key, which it keeps to itself and sends with every request.
// The cookie alone opens nothing: a browser sends a cookie of 127.0.0.1 to every port
// of it, so other programs on the machine may see it. The second key stays within
// the page's own origin, port included. Requests for another host name and from another
// origin are refused, so no other web page reaches the labs, not even by pointing
// a name of its own at 127.0.0.1.
//
// # What a notebook may do
//
// Nothing in a notebook is trusted. Its text is rebuilt by package mdhtml; its outputs are
// shown as package report shows them; what cannot be rebuilt stands in a frame without
// scripts, served with a policy that takes its origin away. Charts run a script,
// ours, in a frame of the same kind. Code runs through a Runner, which confines it (unless
// the reader wants the Go kernel and is told what that means), and
// code of a notebook from elsewhere not before the reader has said so.
//
// # Where the work is
//
// A lab is copied into the folder of working copies when it is first changed or run, and the
// copy is what the page reads and writes from then on. It is an ordinary notebook, written
// whole. What stands in a form and was not submitted is kept with its cell, not in its code.
// Recordings of the reader's own stand beside the copy: made with the device that shows the
// page, or brought, as a notebook of the same sheet may be. One tab writes; another is told,
// and may take over.
package page

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/labserver"
)

// Options for a page. Labs (or a Seat), Data and Runner are needed.
type Options struct {
	Labs   string   // the folder of the project's own notebooks
	Others []string // notebooks from elsewhere
	Data   string   // where working copies and answers are kept
	Runner Runner   // runs code boxes
	// Unconfined says that the runner confines nothing, so that the page can tell
	// the reader.
	Unconfined bool
	// Ahead builds a box while its reader types, so that it is ready when it is run. The runner
	// must know Box.Hold. It is for one reader's machine: a class needs its processors.
	Ahead bool
	// Web is the folder of the built editor and charts (package webassets); empty
	// gives plain text areas and still figures.
	Web string
	// Apparatus returns the files of the virtual apparatus by name: apparatus.js, an ES
	// module that exports mount(section, lab, base), apparatus.css, and what they load.
	// It may wait until they are there. nil: there is none.
	Apparatus func(name string) ([]byte, error)
	// Figures is the folder where the figures of default sheets are kept, so that
	// they are worked out once; empty keeps none.
	Figures string
	// Start is the command that starts the program again, for a reader whose page
	// has lost it.
	Start string
	// Hosts are the host names, with port, that the page answers to. Empty: any
	// address of this machine by number, and localhost.
	Hosts []string
	// Log receives what goes wrong behind the scenes; nil drops it.
	Log func(text string)
	// Seat makes this the page of one of many readers; nil: it has one reader, whom it
	// lets in itself.
	Seat *Seat
}

// A Seat is a page's place in a program that serves many readers, each their own page. The
// program lets them in, stands with its Door in front of Server.Handler, and has claimed
// the folders. All fields but Door and Keys may be left out.
type Seat struct {
	Door *door.Door
	Keys *door.Keys
	// Name tells what this reader's tabs keep in the browser from what others keep there;
	// Reader is whom the page names. Both are empty where no one has come in yet.
	Name, Reader string
	Books        []Book // the notebooks, instead of Options.Labs
	// Sheet is the code of the reader's sheet of a lab, whatever a notebook says.
	Sheet func(lab string) bank.Code
	// Closed says why a lab cannot be opened now, or, with change, why it cannot be
	// changed; empty if it can.
	Closed func(lab string, change bool) string
	// Here is told at which question of a lab the reader is.
	Here func(lab, question string)
	// Given is told of each answer to the reader's sheets that is kept.
	Given func(lab string, e labserver.Entry)
}

// A Book is a lab's notebook for one reader.
type Book struct {
	Lab    string // id
	Source string // as it was handed out
	Copy   string // the working copy, which may not exist yet
	Aside  string // the folder for working copies that are put aside
}

// Server is the page.
type Server struct {
	o     Options
	bench *labserver.Server
	door  *door.Door
	keys  *door.Keys
	desk  *bookmarks
	books []*document
}

// New prepares a page. Nothing is written until a reader does something.
func New(o Options) (*Server, error) {
	if o.Log == nil {
		o.Log = func(string) {}
	}
	lo := labserver.Options{Data: o.Data, Log: o.Log}
	if o.Seat != nil {
		lo.Own, lo.Given = o.Seat.Sheet, o.Seat.Given
	}
	b, err := labserver.New(lo)
	if err != nil {
		return nil, err
	}
	s := &Server{o: o, bench: b, door: &door.Door{Hosts: o.Hosts, Pages: Addresses}, keys: door.NewKeys("gravlab"), desk: &bookmarks{path: filepath.Join(o.Data, "page", "place.json")}}
	if o.Seat != nil {
		s.door, s.keys = o.Seat.Door, o.Seat.Keys
		for _, b := range o.Seat.Books {
			s.books = append(s.books, &document{server: s, name: b.Lab, source: b.Source, own: true, copy: b.Copy, aside: b.Aside})
		}
		return s, nil
	}
	if o.Figures != "" {
		go thisProgram() // it takes a moment
	}
	for _, lab := range exercises.Labs() {
		path := filepath.Join(o.Labs, lab.ID+".ipynb")
		if _, err := os.Stat(path); o.Labs == "" || err != nil {
			continue
		}
		s.books = append(s.books, &document{server: s, name: lab.ID, source: path, own: true, copy: s.workingCopy(lab.ID)})
	}
	seen := map[string]bool{}
	for _, path := range o.Others {
		abs, err := filepath.Abs(path)
		if err != nil {
			return nil, err
		}
		if own := s.ownBook(abs); own != nil || seen[abs] {
			continue
		}
		seen[abs] = true
		name := otherName(abs)
		s.books = append(s.books, &document{server: s, name: name, source: abs, copy: s.workingCopy(name)})
	}
	return s, nil
}

// ownBook is the lab of the project's own that a file is, or nil.
func (s *Server) ownBook(abs string) *document {
	for _, b := range s.books {
		if src, err := filepath.Abs(b.source); err == nil && src == abs {
			return b
		}
	}
	return nil
}

// find returns the book of a name, or nil. Names are compared and never become
// part of a path, so there is no way from a name to another file.
func (s *Server) find(name string) *document {
	for _, b := range s.books {
		if b.name == name {
			return b
		}
	}
	return nil
}

func (s *Server) workingCopy(name string) string {
	return filepath.Join(s.o.Data, "work", name+".ipynb")
}

// Address is an address that opens the page once; path says at which notebook
// ("" is the list). host is host and port.
func (s *Server) Address(host, notebook string) string {
	path := "/"
	if abs, err := filepath.Abs(notebook); notebook != "" && err == nil {
		if b := s.ownBook(abs); b != nil {
			path = "/lab/" + b.name
		}
	}
	return fmt.Sprintf("http://%s%s#key=%s", host, path, s.keys.Once())
}

// Close stops what runs and gives the working copies back. All that was typed
// has been written before.
func (s *Server) Close() error {
	for _, b := range s.books {
		b.close()
	}
	return s.bench.Close()
}

// Handler answers the page's requests.
func (s *Server) Handler() http.Handler {
	api := http.NewServeMux()
	api.HandleFunc("GET /api/labs", s.list)
	api.HandleFunc("GET /api/start", func(w http.ResponseWriter, _ *http.Request) { door.Reply(w, s.o.Start) })
	api.HandleFunc("GET /api/lab/{name}", s.withBook(s.open))
	api.HandleFunc("POST /api/lab/{name}/here", s.withBook(s.here))
	api.HandleFunc("POST /api/lab/{name}/save", s.withBook(s.save))
	api.HandleFunc("POST /api/lab/{name}/answer", s.withBook(s.answer))
	api.HandleFunc("POST /api/lab/{name}/form", s.withBook(s.form))
	api.HandleFunc("POST /api/lab/{name}/run", s.withBook(s.run))
	api.HandleFunc("POST /api/lab/{name}/figures", s.withBook(s.figures))
	api.HandleFunc("POST /api/lab/{name}/stop", s.withBook(s.stop))
	api.HandleFunc("POST /api/lab/{name}/allow", s.withBook(s.allow))
	api.HandleFunc("POST /api/lab/{name}/bring", s.withBook(s.bring))
	api.HandleFunc("GET /api/lab/{name}/recording/{file}", s.withBook(s.recording))
	api.HandleFunc("GET /api/lab/{name}/window/{cell}", s.withBook(s.window))
	api.HandleFunc("POST /api/lab/{name}/record", s.withBook(s.record))
	api.HandleFunc("POST /api/lab/{name}/anew", s.withBook(s.anew))
	api.HandleFunc("GET /api/lab/{name}/frame/{id}", s.withBook(s.hasFrame))
	api.HandleFunc("GET /api/lab/{name}/report", s.withBook(s.report))
	api.HandleFunc("GET /api/lab/{name}/notebook", s.withBook(s.notebook))

	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.shell)
	mux.HandleFunc("GET /lab/{name}", s.shell)
	mux.HandleFunc("GET /asset/{name}", s.asset)
	mux.HandleFunc("GET /sample/{name}", s.sample)
	mux.HandleFunc("GET /apparatus/{path...}", s.apparatus)
	mux.HandleFunc("POST /enter", s.door.Enter(s.keys))
	mux.Handle("GET /frame/{id}", s.keys.CookieOnly(http.HandlerFunc(s.frame)))
	mux.Handle("/api/", s.keys.Keyed(api))
	mux.HandleFunc("/", s.missing)
	if s.o.Seat != nil {
		return mux
	}
	return s.door.Guard(mux)
}

// Addresses are those of the page to which a link elsewhere may lead.
var Addresses = []string{"/", "/lab/"}
