package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"gravity.example/exercises"
	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/door"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/marking"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/teach"
)

var teachCommand = command{
	name: "teach", args: "--class LIST --lab LABS --data DIR [flags]",
	short: "serve labs to a class in its browsers, and see where it stands",
	long: `
Serves the labs from this machine: each student opens their own place with a card, in
any browser and from any device. Writes DIR/cards.html, the cards to print, prints
"ready: " and the address of your own page, where you see the class live, and serves
until Ctrl-C. Press Enter in the terminal for another address of your page.

Everything is kept in DIR, and what a student saw saved is there however the program
ends; start it again with the same flags to go on. In DIR, the folder work/LAB is what
mark takes at any time, and "Freeze and take in" on your page makes a copy of it.

--class LIST      the class list, as for handout; you may add students to it meanwhile
--lab LABS        labs, with commas: 01,02
--data DIR        the folder for all that belongs to this class
--key FILE        the class key (default: LIST with the ending .key); made if it is
                  not there
--assessed        sealed sheets, which count: no verdicts
--listen ADDR     serve at this address of the machine and port, such as
                  192.168.1.20:8443 or 0.0.0.0:8443, instead of 127.0.0.1:8443. The
                  connection is then encrypted, with a certificate that the program
                  makes (browsers warn of it once, and the cards picture that), or with
                  yours:
--tls-cert FILE   your institution's certificate, PEM, with the chain, and
--tls-key FILE    its key
--address URL     the address that browsers open, if it differs:
                  https://labs.skelmire.example:8443
--proxy           a proxy in front encrypts: serve without encryption at --listen, and
                  expect requests for --address
--workers N       boxes that run at once (default: one per core)
--machines URL    where all these are taken, run boxes on machines that lend their
                  processors (gravlab lend), by way of this NATS server; with
                  --token-file, --creds and --tls-ca as for mark
--machines-listen ADDR
                  start such a server at this address, such as 192.0.2.7:4222

Example:

  gravlab teach --class class.csv --lab 01,02 --data hour --listen 0.0.0.0:8443`,
	run: runTeach,
}

func runTeach(ctx context.Context, c *call) error {
	class := c.flags.String("class", "", "")
	key := c.flags.String("key", "", "")
	labs := c.flags.String("lab", "", "")
	data := c.flags.String("data", "", "")
	assessed := c.flags.Bool("assessed", false, "")
	listen := c.flags.String("listen", "127.0.0.1:8443", "")
	certFile := c.flags.String("tls-cert", "", "")
	keyFile := c.flags.String("tls-key", "", "")
	address := c.flags.String("address", "", "")
	proxy := c.flags.Bool("proxy", false, "")
	workers := c.flags.Int("workers", 0, "")
	var far reach
	far.helped(c)
	args, err := c.parse()
	const hint = "gravlab teach --class class.csv --lab 01 --data hour"
	switch {
	case err != nil:
		return err
	case len(args) > 0:
		return usageError{fmt.Errorf("unexpected %s", strings.Join(args, " ")), hint}
	case *class == "" || *labs == "" || *data == "":
		return usageError{errors.New("needs --class, --lab and --data"), hint}
	case (*certFile == "") != (*keyFile == ""):
		return usageError{errors.New("--tls-cert and --tls-key belong together"), "give both, or neither: the program then makes a certificate"}
	case *proxy && (*address == "" || *certFile != ""):
		return usageError{errors.New("--proxy needs --address, and no certificate: the proxy has it"), hint + " --proxy --address https://labs.skelmire.example"}
	}
	o := teach.Options{List: *class, KeyFile: *key, Data: *data, Assessed: *assessed, Log: oneByOne(c.say), Workers: *workers, Proxy: *proxy, Version: cloneVersion(ctx)}
	if o.KeyFile == "" {
		o.KeyFile = keyBeside(*class)
	}
	if o.Workers <= 0 {
		o.Workers = max(2, runtime.NumCPU())
	}
	for _, id := range strings.Split(*labs, ",") {
		lab, err := exercises.Find(strings.TrimSpace(id))
		if err != nil {
			return usageError{err, "--lab takes labs with commas between them: 01,02"}
		}
		if !slices.ContainsFunc(o.Labs, func(l bank.Lab) bool { return l.ID == lab.ID }) {
			o.Labs = append(o.Labs, lab)
		}
	}
	o.Notebook = func(lab bank.Lab) (*notebook.Notebook, error) { return readLab(c, lab, "", "") }
	o.Mark = func(lab bank.Lab, folder string) string {
		return fmt.Sprintf("gravlab mark --class %s --key %s --lab %s --out marks-%s %s", quoted(o.List), quoted(o.KeyFile), lab.Number(), lab.Number(), quoted(folder))
	}
	listener, err := net.Listen("tcp", *listen)
	if err != nil {
		return usageError{fmt.Errorf("cannot serve at %s: %w", *listen, err), "--listen takes an address of this machine and a port, such as 0.0.0.0:8443"}
	}
	defer listener.Close()
	config, err := teachDoor(&o, listener.Addr().(*net.TCPAddr), *address, *certFile, *keyFile)
	if err != nil {
		return err
	}
	if config != nil {
		listener = tls.NewListener(listener, config)
	}
	clone, err := kernel.FindClone(c.say)
	if err != nil {
		return usageError{err, ""}
	}
	if _, err := marking.ReadClass(*class); err != nil { // before a minute of preparation
		return usageError{err, ""}
	}
	runners, err := prepareClass(ctx, &o, clone)
	if ctx.Err() != nil {
		return errFailed
	} else if err != nil {
		return err
	}
	o.Runner = runners
	var boxes *machines.Boxes
	defer func() {
		if boxes != nil {
			boxes.Close()
		}
	}()
	if far.wanted() {
		o.Lent = func(places func(n int)) (func(context.Context, sandbox.Errand) (sandbox.Return, error), error) {
			how, err := far.options(ctx, clone, o.Log)
			if err != nil {
				return nil, err
			}
			if boxes, err = machines.NewBoxes(how, places); err != nil {
				return nil, err
			}
			return boxes.Run, nil
		}
	}
	t, cards, err := teach.New(ctx, o)
	if marking.IsInput(err) {
		return usageError{err, ""}
	} else if err != nil {
		return err
	}
	defer t.Close()
	if cards != "" {
		fmt.Fprintln(c.out, cards)
		c.say("print the cards, and delete the file then: only it holds the codes")
	}
	fmt.Fprintln(c.out, "students: "+o.Address)
	fmt.Fprintln(c.out, "ready: "+t.Lecturer())
	go freshAddresses(func() { fmt.Fprintln(c.out, t.Lecturer()) })
	return serveClass(ctx, listener, t.Handler())
}

// quoted is a word for a shell.
func quoted(word string) string {
	if strings.ContainsAny(word, " \t'\"()&;*?$<>|") {
		return `"` + word + `"`
	}
	return word
}

// teachDoor works out at which address browsers reach the class, and with which
// certificate; config is nil where this program does not encrypt.
func teachDoor(o *teach.Options, at *net.TCPAddr, address, certFile, keyFile string) (config *tls.Config, err error) {
	loopback := at.IP.IsLoopback()
	encrypt := !o.Proxy && (!loopback || certFile != "")
	o.Door = &door.Door{TLS: encrypt || o.Proxy && strings.HasPrefix(address, "https://"), Pages: teach.Addresses}
	port := strconv.Itoa(at.Port)
	scheme := "http"
	if o.Door.TLS {
		scheme = "https"
	}
	names := []string{at.IP.String()}
	if at.IP.IsUnspecified() {
		names = nil
		if all := networkAddresses(); all != "" {
			for _, a := range strings.Split(all, ", ") {
				names = append(names, strings.Trim(a, "[]"))
			}
		}
		names = append(names, "127.0.0.1")
	}
	o.Address = scheme + "://" + net.JoinHostPort(names[0], port)
	if loopback {
		names = append(names, "localhost")
	}
	if address != "" {
		u, err := url.Parse(address)
		if err != nil || u.Host == "" || u.Scheme != scheme || strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "" {
			return nil, usageError{fmt.Errorf("--address %s is not an address of the form %s://NAME:PORT", address, scheme), "give what students type, without a path"}
		}
		o.Address = scheme + "://" + u.Host
		names = append([]string{u.Hostname()}, names...)
		o.Door.Hosts = append(o.Door.Hosts, u.Host)
	}
	for _, n := range names {
		o.Door.Hosts = append(o.Door.Hosts, net.JoinHostPort(n, port))
		if o.Door.TLS && port == "443" {
			o.Door.Hosts = append(o.Door.Hosts, n)
		}
	}
	if !encrypt {
		return nil, nil
	}
	var cert tls.Certificate
	if certFile != "" {
		if cert, err = teach.ReadCertificate(certFile, keyFile, names[:1]); err != nil {
			return nil, usageError{err, ""}
		}
	} else if cert, o.Warns, err = teach.OwnCertificate(filepath.Join(o.Data, "tls"), names); err != nil {
		return nil, err
	}
	return &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}}, nil
}

// prepareClass builds what the pages need, as for open, and returns what makes the runner of
// the boxes.
func prepareClass(ctx context.Context, o *teach.Options, clone string) (func(page.ConfinedOptions) page.Runner, error) {
	var pages page.Options
	if err := prepare(ctx, &pages, clone, false, o.Log); err != nil {
		return nil, err
	}
	o.Web, o.Apparatus = pages.Web, pages.Apparatus
	// The packages are in the cache now; the class has a pool of its own kind.
	pages.Runner.(*page.Confined).Close()
	return func(c page.ConfinedOptions) page.Runner { return page.NewConfined(clone, o.Log, c) }, nil
}

// serveClass serves until ctx ends. Connections that are idle, or that do not send their
// request, are given up, so that no number of them uses up the descriptors for long.
func serveClass(ctx context.Context, l net.Listener, h http.Handler) error {
	server := &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 30 * time.Second, ErrorLog: log.New(io.Discard, "", 0)}
	return serveWith(ctx, l, server)
}
