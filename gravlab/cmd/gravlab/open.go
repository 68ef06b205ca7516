package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/term"

	"gravity.example/gravlab/internal/atomicfile"
	"gravity.example/gravlab/internal/usercache"
	"gravity.example/gravlab/internal/webassets"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/labserver"
	"gravity.example/gravlab/notebook"
	"gravity.example/gravlab/page"
)

var openCommand = command{
	name: "open", args: "[flags] [NOTEBOOK or FOLDER]",
	short: "open the labs in the browser",
	long: `
Serves the labs on this machine, prints "ready: " and the address on standard output
and opens it in the browser. It needs only Go and a browser. Without an
argument it shows the list of labs; with a notebook, that notebook; with a folder,
the notebooks in it beside the labs. The first time it fetches and compiles what
the boxes of code need, and reports each step.

What you write is saved at once in a working copy in your data folder; the
notebook itself is not changed. Code runs confined: it reaches neither your files nor
the network. If npm is on the path, the first start builds a better editor and interactive
charts into the cache (once); without it, boxes are plain text areas and figures
are still.

The address works only once. Press Enter in the terminal for a new one. Ctrl-C ends
the program.

--no-browser     only print the address and serve
--port PORT      serve at this port (the last one, if it is free)
--kernel         run code in the Go kernel, one per notebook, as Jupyter
                 would: it may then read and change your files, use the network
                 and all the packages of this module (not on Windows)
--listen ADDR    serve at this address of the machine instead of 127.0.0.1: then
                 others on the network can try to reach the page, unencrypted.
                 The page answers to numeric addresses, not to names

Example:

  gravlab open notebooks/01-weighing-the-earth.ipynb`,
	run: runOpen,
}

func runOpen(ctx context.Context, c *call) error {
	noBrowser := c.flags.Bool("no-browser", false, "")
	port := c.flags.Int("port", 0, "")
	inKernel := c.flags.Bool("kernel", false, "")
	address := c.flags.String("listen", "127.0.0.1", "")
	args, err := c.parse()
	switch {
	case err != nil:
		return err
	case len(args) > 1:
		return usageError{fmt.Errorf("%d notebooks or folders were given", len(args)), "give one; a folder shows all notebooks in it"}
	case *port < 0 || *port > 65535:
		return usageError{fmt.Errorf("--port is %d", *port), "give a port from 1 to 65535, or leave it out"}
	}
	others, first, err := notebooksAt(args)
	if err != nil {
		return usageError{err, ""}
	}
	if first != "" {
		if _, err := notebook.ReadFile(first, notebook.Options{}); err != nil {
			return usageError{err, ""}
		}
	}
	data, err := labserver.DataFolder()
	if err != nil {
		return err
	}
	clone, err := kernel.FindClone(c.say)
	if err != nil {
		return usageError{err, ""}
	}
	ip, err := addressToServe(*address)
	if err != nil {
		return usageError{err, "give an address of this machine, such as 192.168.1.20, without a port (--port has its own flag), or leave out --listen"}
	}
	loopback := ip.IP.IsLoopback()
	if *inKernel && !loopback {
		return usageError{fmt.Errorf("--kernel with --listen %s would let others on the network run programs with your rights", *address), "leave out one of the two"}
	}
	listener, err := listenAt(ip.String(), *port, filepath.Join(data, "page", "port"))
	if err != nil {
		return err
	}
	defer listener.Close()
	if !loopback {
		fmt.Fprintf(c.err, "warning: %s can be reached from other machines. Anyone who sees the address or the traffic can read and change your work, and run code (confined) here. Leave out --listen unless you know the network.\n", *address)
		if here := networkAddresses(); ip.IP.IsUnspecified() && here != "" {
			c.say("for another machine, replace 127.0.0.1 in the address by one of these: " + here)
		}
	}
	o := page.Options{Labs: filepath.Join(clone, "notebooks"), Others: others, Data: data, Log: c.say, Unconfined: *inKernel, Ahead: !*inKernel,
		Start: startAgain(os.Args, clone, listener.Addr().(*net.TCPAddr).Port)}
	if err := prepare(ctx, &o, clone, *inKernel, c.say); ctx.Err() != nil {
		return errFailed // Ctrl-C needs no words
	} else if err != nil {
		return err
	}
	defer o.Runner.(io.Closer).Close()
	s, err := page.New(o)
	if err != nil {
		return err
	}
	defer s.Close()
	host := hostOf(listener.Addr())
	at := s.Address(host, first)
	if !*noBrowser {
		if err := browse(at); err != nil {
			c.say("no browser could be opened (" + err.Error() + "): open the address below yourself")
		}
	}
	fmt.Fprintln(c.out, "ready: "+at)
	go freshAddresses(func() { fmt.Fprintln(c.out, s.Address(host, first)) })
	return serveUntil(ctx, listener, s.Handler())
}

// prepare fetches and builds what the page needs and tells each step that takes
// long. Without the runner of the code there is no page; without the rest there is.
func prepare(ctx context.Context, o *page.Options, clone string, inKernel bool, log func(text string)) error {
	log = oneByOne(log)
	var ready func() error // waits for what is prepared beside the editor
	if inKernel {
		if err := kernel.Prepare(ctx, clone, log); err != nil {
			return err
		}
		runner, err := page.NewKernels(clone, o.Data)
		if err != nil {
			return usageError{err, "leave out --kernel: code then runs confined"}
		}
		o.Runner, ready = runner, func() error { return nil }
	} else {
		runner := page.NewConfined(clone, log, page.ConfinedOptions{})
		o.Runner, ready = runner, func() error { return runner.Prepared(ctx) }
	}
	var err error
	o.Web, err = webassets.Build(ctx, log)
	switch {
	case errors.Is(err, webassets.ErrNoNPM):
		log("npm is not on the path: boxes are plain text areas and figures are still")
	case err != nil && ctx.Err() == nil:
		log("the editor could not be built (" + err.Error() + "): boxes are plain text areas and figures are still")
	}
	if err := ready(); err != nil {
		return err
	}
	if o.Figures, err = usercache.Dir("figures"); err != nil {
		log("figures are worked out each time: " + err.Error())
	}
	if cache, err := os.UserCacheDir(); err == nil {
		o.Apparatus = page.Apparatus(ctx, clone, filepath.Join(cache, "gravlab", "apparatus"), log)
		o.Apparatus("apparatus.js") // waits; why there is none was said
	}
	return nil
}

// oneByOne lets one line be said at a time: several things are prepared at once.
func oneByOne(log func(text string)) func(string) {
	var mu sync.Mutex
	return func(what string) {
		mu.Lock()
		defer mu.Unlock()
		log(what)
	}
}

// startAgain is the command that starts the program again as the reader started it,
// at the port at which the open tabs look for it.
func startAgain(args []string, clone string, port int) string {
	words := []string{args[0]}
	if executable, err := os.Executable(); err == nil && strings.Contains(filepath.ToSlash(executable), "/go-build") {
		// `go run` has built this program, and deletes it.
		words = []string{"go", "run", "./gravlab/cmd/gravlab"}
		if here, err := os.Getwd(); err == nil {
			if rel, err := filepath.Rel(here, filepath.Join(clone, "gravlab", "cmd", "gravlab")); err == nil {
				words[2] = rel
				if filepath.IsLocal(rel) && rel != "." {
					words[2] = "." + string(filepath.Separator) + rel
				}
			}
		}
	}
	words = append(words, args[1:]...)
	if !slices.ContainsFunc(args, func(a string) bool { return strings.HasPrefix(strings.TrimLeft(a, "-"), "port") && a[0] == '-' }) {
		words = append(words, "--port", strconv.Itoa(port))
	}
	for i, w := range words {
		if strings.ContainsAny(w, " \t'\"()&;*?$<>|") {
			words[i] = `"` + w + `"`
		}
	}
	return strings.Join(words, " ")
}

// notebooksAt lists the notebooks that an argument names; first is the one to
// open at once.
func notebooksAt(args []string) (all []string, first string, err error) {
	if len(args) == 0 {
		return nil, "", nil
	}
	info, err := os.Stat(args[0])
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil, "", fmt.Errorf("there is no %s", args[0])
	case err != nil:
		return nil, "", err
	case !info.IsDir():
		if !strings.HasSuffix(args[0], ".ipynb") {
			return nil, "", fmt.Errorf("%s is not a notebook: its name does not end in .ipynb", args[0])
		}
		return args, args[0], nil
	}
	entries, err := os.ReadDir(args[0])
	if err != nil {
		return nil, "", err
	}
	for _, e := range entries {
		if name := e.Name(); strings.HasSuffix(name, ".ipynb") && !strings.HasPrefix(name, ".") && !e.IsDir() {
			all = append(all, filepath.Join(args[0], name))
		}
	}
	if len(all) == 0 {
		return nil, "", fmt.Errorf("there is no notebook (.ipynb) in %s", args[0])
	}
	return all, "", nil
}

// addressToServe reads --listen. A name is looked up here and not again, so that what
// is checked is what is served at. An empty address would be every one of the machine.
func addressToServe(address string) (*net.IPAddr, error) {
	if address == "" {
		return nil, errors.New("--listen is empty")
	}
	ip, err := net.ResolveIPAddr("ip", address)
	if err != nil || ip.IP == nil {
		return nil, fmt.Errorf("--listen %s is not an address", address)
	}
	return ip, nil
}

// networkAddresses lists the addresses at which other machines may reach this one.
func networkAddresses() string {
	all, err := net.InterfaceAddrs()
	if err != nil {
		return ""
	}
	var found []string
	for _, a := range all {
		if n, ok := a.(*net.IPNet); !ok || !n.IP.IsGlobalUnicast() {
			continue
		} else if n.IP.To4() == nil {
			found = append(found, "["+n.IP.String()+"]")
		} else {
			found = append(found, n.IP.String())
		}
	}
	return strings.Join(found, ", ")
}

// listenAt listens at a port. Without one it takes that of the last time, so that
// a tab that was left open can go on, or any that is free.
func listenAt(address string, port int, remembered string) (net.Listener, error) {
	try := func(port int) (net.Listener, error) {
		return net.Listen("tcp", net.JoinHostPort(address, strconv.Itoa(port)))
	}
	var l net.Listener
	if text, err := os.ReadFile(remembered); port == 0 && err == nil {
		if last, err := strconv.Atoi(strings.TrimSpace(string(text))); err == nil && last > 1023 && last < 65536 {
			l, _ = try(last) // another port will do
		}
	}
	if l == nil {
		var err error
		if l, err = try(port); err != nil {
			return nil, fmt.Errorf("cannot serve at %s: %w; try another --port", net.JoinHostPort(address, strconv.Itoa(port)), err)
		}
	}
	if os.MkdirAll(filepath.Dir(remembered), 0o700) == nil {
		atomicfile.WriteFile(remembered, fmt.Appendf(nil, "%d\n", l.Addr().(*net.TCPAddr).Port), 0o600)
	}
	return l, nil
}

// hostOf is the host and port to open: an unspecified address is opened at
// loopback.
func hostOf(a net.Addr) string {
	tcp := a.(*net.TCPAddr)
	ip := tcp.IP
	if ip.IsUnspecified() {
		ip = net.IPv4(127, 0, 0, 1)
	}
	return net.JoinHostPort(ip.String(), strconv.Itoa(tcp.Port))
}

// freshAddresses prints another address at each Enter in the terminal.
func freshAddresses(print func()) {
	if !term.IsTerminal(int(os.Stdin.Fd())) {
		return
	}
	lines := bufio.NewReader(os.Stdin)
	for {
		if _, err := lines.ReadString('\n'); err != nil {
			return
		}
		print()
	}
}

// browse opens an address in the reader's browser. Others on the machine may see
// the address in the list of processes; it works once, and the reader would be
// told that it has been used.
func browse(at string) error {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "darwin":
		cmd = exec.Command("open", at)
	case "windows":
		cmd = exec.Command("rundll32", "url.dll,FileProtocolHandler", at)
	default:
		cmd = exec.Command("xdg-open", at)
	}
	cmd.Stdout, cmd.Stderr = io.Discard, io.Discard
	if err := cmd.Start(); err != nil {
		return err
	}
	go cmd.Wait()
	return nil
}

// serveUntil serves until ctx ends, and then waits a moment for what is under
// way: a text that is being saved.
func serveUntil(ctx context.Context, l net.Listener, h http.Handler) error {
	return serveWith(ctx, l, &http.Server{Handler: h, ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute}) // the time of bodies is the page's
}

func serveWith(ctx context.Context, l net.Listener, server *http.Server) error {
	done := make(chan error, 1)
	go func() { done <- server.Serve(l) }()
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
		last, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		if server.Shutdown(last) != nil {
			server.Close()
		}
		return nil
	}
}
