// Package teach serves the labs to a class in its browsers from one machine: each student
// has the page (package page) on a working copy of their own, and the lecturer sees where
// the class stands.
//
// Most callers need New, Class.Handler and Class.Lecturer.
//
// # What is where
//
// Everything is in one folder, Options.Data, which the program claims for itself:
//
//	sheets/LAB/ID/     the sheets as they were handed out (marking.Handout)
//	work/LAB/ID/       each student's working copy, an ordinary notebook: what marking takes
//	students/ID/       answers logs, where the student was, copies that were put aside, figures
//	handed-in/LAB/ID/  what was taken in last
//	codes.json         slow salted hashes of the entry codes; no codes
//	hour.json          what the lecturer has decided: labs, note, end, extra time
//	cards.html         the cards to print: the only place with the codes; delete it then
//	README.md          KEPT.md: what is kept, for how long, backup and removal
//	tls/               a certificate that this program made, where none was given
//
// A student's answers log is written before the page hears of the verdict, and a working
// copy is written whole, so what was acknowledged is there however the program ends.
//
// # Who reaches what
//
// A card's code opens its student's place. The browser gets a cookie and the page a second
// key (package door); both are made from the card and a secret of the folder, so that they
// outlive the program and end with the card. The cookie says which student's page answers a
// request; no address says it. The lab server of each page opens that student's sheets alone,
// whatever a notebook names. The lecturer has keys of their own kind.
//
// # Boxes
//
// All boxes run in one pool of confined processes, which give way to the page. See queue.
package teach

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/internal/filelock"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
)

// keptPage says what the folder holds.
//
//go:embed KEPT.md
var keptPage []byte

// Options for a class. All but Web, Apparatus, Warns and Version are needed.
type Options struct {
	List     string // the class list, a file; students may be added to it meanwhile
	KeyFile  string // the class key, a file; made if it is not there
	Labs     []bank.Lab
	Notebook func(bank.Lab) (*notebook.Notebook, error)
	Data     string
	Assessed bool       // sealed sheets: no verdicts
	Door     *door.Door // stands in front of all
	Address  string     // at which browsers reach the program: https://lab.example:8443
	// Warns is the fingerprint of a certificate that browsers warn of, for the cards; empty
	// if they do not warn.
	Warns string
	// Proxy says that a proxy stands in front, whose word about where a request comes from counts.
	Proxy   bool
	Runner  func(page.ConfinedOptions) page.Runner // makes what runs boxes
	Workers int                                    // boxes at once
	// Lent, if not nil, reaches machines that lend their processors: places is told how many
	// boxes they run at once, and run runs one there (page.ConfinedOptions.Away).
	Lent func(places func(n int)) (run func(context.Context, sandbox.Errand) (sandbox.Return, error), err error)
	Web  string // as in page.Options
	// Apparatus is as in page.Options.
	Apparatus func(name string) ([]byte, error)
	Version   string // of the program, for the records of the handouts
	Log       func(text string)
	// Mark is the command that marks a lab in a folder, for the lecturer's page.
	Mark func(lab bank.Lab, folder string) string
}

// A Class is a class in its browsers.
type Class struct {
	o        Options
	key      []byte
	roll     *roll
	limiter  *limiter
	queue    *queue
	runner   page.Runner
	lobby    *page.Server // for browsers that no one has come in with
	lecturer *door.Keys
	release  func()
	stop     context.CancelFunc
	ticking  sync.WaitGroup

	mu      sync.Mutex
	version int // of what the lecturer sees
	hour    hour
	places  []*place // in the order of the class list
	cookies map[string]*place
	trouble string // with the class list, or with the disk
	stamp   time.Time
	taken   string // what was taken in last, for the lecturer
	began   time.Time
}

// A place is one student's.
type place struct {
	class   *Class
	student marking.Student
	name    string // in the browser
	keys    *door.Keys
	using   atomic.Int64 // requests under way

	making sync.Mutex // of the page
	server *page.Server

	// The rest is guarded by Class.mu.
	tally tally
	seen  time.Time // monotonic
	lab   string
	at    string // question
}

// New prepares a class: sheets for everyone, and cards for those who have none yet, whose
// file is cards (empty if there are no new ones).
func New(ctx context.Context, o Options) (c *Class, cards string, err error) {
	if err := os.MkdirAll(o.Data, 0o700); err != nil {
		return nil, "", err
	}
	release, err := filelock.ClaimAt(filepath.Join(o.Data, "lock"), o.Data)
	if err != nil {
		return nil, "", fmt.Errorf("another gravlab teach works in %s; end that one first, or give another folder with --data", o.Data)
	}
	defer func() {
		if err != nil {
			release()
		}
	}()
	c = &Class{o: o, limiter: newLimiter(), queue: newQueue(o.Workers), lecturer: door.NewKeys("gravlab-lecturer"), release: release,
		cookies: map[string]*place{}, began: time.Now(), version: 1}
	if c.roll, err = readRoll(filepath.Join(o.Data, "codes.json")); err != nil {
		return nil, "", err
	}
	if c.hour, err = readHour(c.hourFile()); err != nil {
		return nil, "", err
	}
	confined := page.ConfinedOptions{Workers: c.queue.most(), Nice: 10, Slow: true, Limits: boxLimits}
	if o.Lent != nil {
		if confined.Away, err = o.Lent(c.queue.lend); err != nil {
			return nil, "", err
		}
	}
	c.runner = o.Runner(confined)
	if c.lobby, err = c.page(&page.Seat{Door: o.Door, Keys: door.NewKeys("gravlab")}, filepath.Join(o.Data, "students", ".none")); err != nil {
		return nil, "", err
	}
	if cards, err = c.readList(ctx); err != nil {
		return nil, "", err
	}
	if err := atomicfile.WriteFile(filepath.Join(o.Data, "README.md"), keptPage, 0o600); err != nil {
		return nil, "", err
	}
	ticks, stop := context.WithCancel(context.Background())
	c.stop = stop
	c.ticking.Go(func() { c.tick(ticks) })
	c.ticking.Go(func() { c.draw(ticks) })
	return c, cards, nil
}

func (c *Class) hourFile() string { return filepath.Join(c.o.Data, "hour.json") }

// page makes a page for a seat.
func (c *Class) page(seat *page.Seat, data string) (*page.Server, error) {
	return page.New(page.Options{Data: data, Runner: c.runner, Web: c.o.Web, Apparatus: c.o.Apparatus, Log: c.o.Log, Seat: seat})
}

// code is the code of a student's sheet of a lab.
func (c *Class) code(lab, student string) bank.Code {
	if c.o.Assessed {
		return bank.SealedCode(c.key, lab, student, "")
	}
	return bank.StudentCode(c.key, lab, student, "")
}

// readList reads the class list, hands out to those who are new in it, and makes their cards.
func (c *Class) readList(ctx context.Context) (cards string, err error) {
	info, err := os.Stat(c.o.List)
	if err != nil {
		return "", err
	}
	list, err := marking.ReadClass(c.o.List)
	if err != nil {
		return "", err
	}
	if list.Note != "" {
		c.o.Log(c.o.List + " " + list.Note)
	}
	if c.key == nil {
		key, made, open, err := marking.MakeKey(c.o.KeyFile)
		if err != nil {
			return "", err
		}
		if made {
			c.o.Log("made the class key " + c.o.KeyFile + ": keep it, and keep it to yourself")
		}
		if open {
			c.o.Log("others on this machine may read " + c.o.KeyFile + ": chmod 600 " + c.o.KeyFile + " keeps it yours")
		}
		c.key = key
	}
	if err := os.MkdirAll(filepath.Join(c.o.Data, "sheets"), 0o700); err != nil {
		return "", err
	}
	for _, lab := range c.o.Labs {
		nb, err := c.o.Notebook(lab)
		if err != nil {
			return "", err
		}
		h := marking.Handout{Class: list, Lab: lab, Notebook: nb, Key: c.key, Out: c.sheets(lab.ID), Assessed: c.o.Assessed, Version: c.o.Version,
			Record: marking.KeptPath(c.o.KeyFile, lab, "", c.o.Assessed)}
		kept, err := h.Write(ctx)
		if err != nil {
			return "", err
		}
		if len(kept) > 0 {
			c.o.Log(fmt.Sprintf("lab %s: the sheets that were handed out stay as they are, though this program's notebook is another now (%s and so on)", lab.Number(), kept[0]))
		}
	}
	var ids []string
	names := map[string]string{}
	for _, s := range list.Students {
		ids = append(ids, s.ID)
		names[s.ID] = nameOf(s)
	}
	codes, err := c.roll.add(ids)
	if err != nil {
		return "", err
	}
	if len(codes) > 0 {
		var made []cardView
		for _, id := range ids {
			if code, ok := codes[id]; ok {
				made = append(made, cardView{Name: names[id], Code: code})
			}
		}
		if cards, err = c.writeCards(made); err != nil {
			return "", err
		}
	}
	c.seat(list.Students, info.ModTime())
	return cards, nil
}

func nameOf(s marking.Student) string {
	if s.Name == "" {
		return s.ID
	}
	return s.Name
}

// seat gives each student of the list a place. Places of students who are no longer in it
// stay until the program ends.
func (c *Class) seat(students []marking.Student, stamp time.Time) {
	var labs []string
	for _, l := range c.o.Labs {
		labs = append(labs, l.ID)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stamp = stamp
	var places []*place
	for _, s := range students {
		i := slices.IndexFunc(c.places, func(p *place) bool { return p.student.ID == s.ID })
		if i >= 0 {
			c.places[i].student = s
			places = append(places, c.places[i])
			c.places = slices.Delete(c.places, i, i+1)
			continue
		}
		p := &place{class: c, student: s}
		p.tally = readTally(c.folder(s.ID), func(lab string) string { return string(c.code(lab, s.ID)) }, labs)
		c.lock(p)
		places = append(places, p)
	}
	c.places = append(places, c.places...)
	c.version++
}

// lock gives a place the keys of its student's card. The caller holds c.mu.
func (c *Class) lock(p *place) {
	id := p.student.ID
	if p.keys != nil {
		delete(c.cookies, p.keys.Cookie)
	}
	p.name = c.roll.key(id, "name")[:12]
	p.keys = &door.Keys{Name: "gravlab", Cookie: c.roll.key(id, "cookie"), Page: c.roll.key(id, "page")}
	c.cookies[p.keys.Cookie] = p
}

func (c *Class) sheets(lab string) string   { return filepath.Join(c.o.Data, "sheets", lab) }
func (c *Class) work(lab, id string) string { return filepath.Join(c.o.Data, "work", lab, id) }
func (c *Class) folder(id string) string    { return filepath.Join(c.o.Data, "students", id) }
func (c *Class) handedIn(lab string) string { return filepath.Join(c.o.Data, "handed-in", lab) }
func (c *Class) changed()                   { c.version++ }
func (c *Class) keep()                      { c.trouble = told(c.hour.write(c.hourFile())); c.changed() }
func (c *Class) ids() []string {
	var ids []string
	for _, p := range c.places {
		ids = append(ids, p.student.ID)
	}
	return ids
}

func told(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// open returns the page of a place and makes it if need be.
func (p *place) open() (*page.Server, error) {
	p.making.Lock()
	defer p.making.Unlock()
	if p.server != nil {
		return p.server, nil
	}
	c := p.class
	id := p.student.ID
	c.mu.Lock()
	seat := &page.Seat{Door: c.o.Door, Keys: p.keys, Name: p.name, Reader: nameOf(p.student),
		Sheet:  func(lab string) bank.Code { return c.code(lab, id) },
		Closed: func(lab string, change bool) string { return c.closed(id, lab, change) },
		Here:   func(lab, question string) { c.here(p, lab, question) },
		Given:  func(lab string, e labserver.Entry) { c.given(p, lab, e) },
	}
	c.mu.Unlock()
	for _, l := range c.o.Labs {
		seat.Books = append(seat.Books, page.Book{Lab: l.ID, Source: filepath.Join(c.sheets(l.ID), id, l.ID+".ipynb"),
			Copy: filepath.Join(c.work(l.ID, id), l.ID+".ipynb"), Aside: filepath.Join(c.folder(id), "earlier")})
	}
	s, err := page.New(page.Options{Data: c.folder(id), Runner: turn{c.queue, id, c.runner}, Web: c.o.Web, Apparatus: c.o.Apparatus, Log: c.o.Log, Seat: seat, Figures: filepath.Join(c.folder(id), "figures")})
	p.server = s
	return s, err
}

// shut lets go of the page of a place, if it has one. All of it is on disk.
func (p *place) shut() {
	p.making.Lock()
	defer p.making.Unlock()
	if p.server != nil {
		p.server.Close()
		p.server = nil
	}
}

// closed says why a student may not open or change a lab now.
func (c *Class) closed(id, lab string, change bool) string {
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case c.hour.Closed[lab]:
		return "this lab is not open now"
	case change && c.hour.Frozen[id] != "":
		return "your work has been taken in, so changes are not saved any more"
	}
	return ""
}

func (c *Class) here(p *place, lab, question string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if p.lab != lab || p.at != question {
		p.lab, p.at = lab, question
		c.changed()
	}
}

func (c *Class) given(p *place, lab string, e labserver.Entry) {
	c.mu.Lock()
	defer c.mu.Unlock()
	p.tally.take(lab, e)
	p.lab, p.at = lab, e.Question
	c.changed()
}

// away is after how long without a sign a student counts as away.
const away = 20 * time.Second

// idle is after how long a place's page is let go.
const idle = 30 * time.Minute

// tick does what time brings: the end of the hour, students who have left, a class list
// that has grown.
func (c *Class) tick(ctx context.Context) {
	every := time.NewTicker(time.Second)
	defer every.Stop()
	online := ""
	for n := 0; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
		c.mu.Lock()
		if c.hour.pass(c.ids(), time.Now()) {
			c.keep()
		}
		var who strings.Builder
		var old []*place
		for _, p := range c.places {
			if !p.seen.IsZero() && time.Since(p.seen) < away {
				who.WriteString(p.student.ID + " ")
			}
			if !p.seen.IsZero() && time.Since(p.seen) > idle && p.using.Load() == 0 {
				old = append(old, p)
			}
		}
		running, waiting := c.queue.length()
		if now := fmt.Sprint(who.String(), running, waiting); now != online {
			online = now
			c.changed()
		}
		stamp := c.stamp
		c.mu.Unlock()
		for _, p := range old {
			p.shut()
		}
		if info, err := os.Stat(c.o.List); n%3 == 0 && err == nil && !info.ModTime().Equal(stamp) {
			c.grow(ctx, info.ModTime())
		}
	}
}

// draw has the figures that open with a lab worked out before the students come, and
// those of new students later. It uses moments in which no one waits.
func (c *Class) draw(ctx context.Context) {
	done := map[*place]bool{}
	for {
		c.mu.Lock()
		var next *place
		for _, p := range c.places {
			if !done[p] {
				next = p
				break
			}
		}
		c.mu.Unlock()
		if next == nil {
			select {
			case <-ctx.Done():
				return
			case <-time.After(time.Second):
				continue
			}
		}
		done[next] = true
		s, err := next.open()
		for _, l := range c.o.Labs {
			if err == nil {
				err = s.Prepare(ctx, l.ID)
			}
		}
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			c.o.Log(next.student.ID + ": the figures of the labs: " + err.Error())
		}
		c.mu.Lock()
		absent := next.seen.IsZero()
		c.mu.Unlock()
		if absent && next.using.Load() == 0 {
			next.shut()
		}
	}
}

// grow reads a class list that has changed. One that cannot be used changes nothing, and
// the lecturer sees why.
func (c *Class) grow(ctx context.Context, stamp time.Time) {
	cards, err := c.readList(ctx)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stamp = stamp
	c.trouble = told(err)
	if cards != "" {
		c.o.Log("cards of the new students: " + cards)
	}
	c.changed()
}

// Lecturer is an address that opens the lecturer's page once.
func (c *Class) Lecturer() string { return c.o.Address + "/lecturer#key=" + c.lecturer.Once() }

// Close ends what runs and lets go of the folder.
func (c *Class) Close() error {
	c.stop()
	c.ticking.Wait()
	for _, p := range c.places {
		p.shut()
	}
	err := c.lobby.Close()
	if closer, ok := c.runner.(interface{ Close() error }); ok {
		err = errors.Join(err, closer.Close())
	}
	c.release()
	return err
}

// placeOf is the place whose cookie a request carries; nil if there is none.
func (c *Class) placeOf(r *http.Request) *place {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, value := range door.Cookies(r, "gravlab") {
		if p := c.cookies[value]; p != nil {
			return p
		}
	}
	return nil
}
