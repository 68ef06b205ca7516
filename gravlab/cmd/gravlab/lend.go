package main

import (
	"context"
	"errors"
	"net"
	"path/filepath"

	"gravity.example/gravlab/internal/usercache"
	"gravity.example/gravlab/kernel"
	"gravity.example/gravlab/machines"
	"gravity.example/gravlab/sandbox"
	"gravity.example/gravlab/teach"
)

var lendCommand = command{
	name: "lend", args: "--to nats://HOST [flags]",
	short: "lend this machine's processors to a marking or a lab hour",
	long: `
Runs notebooks of a marking and boxes of a lab hour, confined, for mark or teach with
--machines or --machines-listen, until Ctrl-C. It needs the same gravlab, the same Go and
the same kind of processor as the machine that it helps; with others it says so, and gets
nothing to run.

What is run here is other people's work: notebooks as they were handed in, and boxes,
without class list, key or right answers. Nothing of it stays here. A machine that lends is
trusted: what it sends back becomes marks.

When the marking has ended or the server is away, it says so once, waits, and goes on with
what comes next from the same server.

--to URL           the server, nats:// or tls://
--token-file FILE  a token, or a name and a password with a colon between: the file
                   lend.token that --machines-listen has made
--creds FILE       a credentials file of your NATS
--tls-ca FILE      the certificate by which the server is known: cert.pem beside
                   lend.token

Example:

  gravlab lend --to tls://192.0.2.7:4222 --token-file lend.token --tls-ca cert.pem`,
	run: runLend,
}

func runLend(ctx context.Context, c *call) error {
	var r reach
	c.flags.StringVar(&r.to, "to", "", "")
	r.flags(c)
	rest, err := c.parse()
	const hint = "gravlab lend --to tls://192.0.2.7:4222 --token-file lend.token --tls-ca cert.pem"
	switch {
	case err != nil:
		return err
	case r.to == "" || len(rest) > 0:
		return usageError{errors.New("needs --to, and nothing else but flags"), hint}
	}
	show := newProgress(c.err)
	defer show.end()
	clone, err := kernel.FindClone(show.say)
	if err != nil {
		return err
	}
	pool, err := sandbox.NewPool(ctx, sandbox.PoolOptions{Clone: clone, Nice: 10, Log: show.say})
	if err != nil {
		return err
	}
	defer pool.Close()
	o, err := r.options(ctx, clone, show.say)
	if err != nil {
		return err
	}
	show.say("lends its processors; Ctrl-C ends it")
	return machines.Lend(ctx, pool, o)
}

// A reach says how the server of errands is reached.
type reach struct{ to, listen, token, creds, ca string }

// helped are the flags of a command that other machines may help.
func (r *reach) helped(c *call) {
	c.flags.StringVar(&r.to, "machines", "", "")
	c.flags.StringVar(&r.listen, "machines-listen", "", "")
	r.flags(c)
}

// wanted reports whether other machines are to help.
func (r *reach) wanted() bool { return r.to != "" || r.listen != "" }

func (r *reach) flags(c *call) {
	c.flags.StringVar(&r.token, "token-file", "", "")
	c.flags.StringVar(&r.creds, "creds", "", "")
	c.flags.StringVar(&r.ca, "tls-ca", "", "")
}

func (r *reach) options(ctx context.Context, clone string, say func(string)) (o machines.Options, err error) {
	o.Log = say
	dir, err := usercache.Dir("machines")
	if err != nil {
		return o, err
	}
	if o.Version, err = machines.Version(ctx, clone); err != nil {
		return o, err
	}
	if o.Carrier, err = machines.Build(ctx, clone, dir); err != nil {
		return o, err
	}
	if r.listen == "" {
		o.Args = []string{"--to", r.to, "--token-file", r.token, "--creds", r.creds, "--tls-ca", r.ca, "--dir", dir}
		return o, nil
	}
	host, port, err := net.SplitHostPort(r.listen)
	if err != nil || host == "" || host == "0.0.0.0" || host == "::" {
		return o, usageError{errors.New("--machines-listen takes the address by which the other machines reach this one, and a port"), "gravlab mark --machines-listen 192.0.2.7:4222 …"}
	}
	if _, _, err := teach.OwnCertificate(dir, []string{host}); err != nil {
		return o, err
	}
	cert := filepath.Join(dir, "cert.pem")
	o.Args = []string{"--listen", r.listen, "--dir", dir, "--cert", cert, "--cert-key", filepath.Join(dir, "key.pem")}
	say("give " + filepath.Join(dir, "lend.token") + " and " + cert + " to each machine, and call there:")
	say("gravlab lend --to tls://" + net.JoinHostPort(host, port) + " --token-file lend.token --tls-ca cert.pem")
	return o, nil
}
