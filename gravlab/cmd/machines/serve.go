package main

import (
	"crypto/rand"
	"crypto/tls"
	"encoding/hex"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// lenderMay is all that a machine that lends may do.
func lenderMay() *server.Permissions {
	return &server.Permissions{
		Publish: &server.SubjectPermission{Allow: []string{
			"$JS.API.CONSUMER.INFO." + jobsName + ".>", "$JS.API.CONSUMER.MSG.NEXT." + jobsName + ".>", "$JS.ACK." + jobsName + ".>",
			"$JS.API.STREAM.INFO.OBJ_" + bigName, "$JS.API.INFO",
			"$KV." + backName + ".*.*", "$JS.API.STREAM.MSG.GET.OBJ_" + bigName, "$JS.API.DIRECT.GET.OBJ_" + bigName + ".>", "$JS.API.DIRECT.GET.OBJ_" + bigName,
			"$O." + bigName + ".>", "$JS.API.CONSUMER.CREATE.OBJ_" + bigName + ".>", "$JS.API.CONSUMER.DELETE.OBJ_" + bigName + ".>", "$JS.API.STREAM.PURGE.OBJ_" + bigName,
			"gravlab.here.>", "$JS.FC.>", "gravlab.brought.>",
		}},
		Subscribe: &server.SubjectPermission{Allow: []string{"_INBOX.>", "gravlab.boxes.>"}},
	}
}

// hourMay is all that a lab hour may do: boxes, and nothing of a marking.
func hourMay() *server.Permissions {
	return &server.Permissions{
		Publish:   &server.SubjectPermission{Allow: []string{"gravlab.boxes.>"}},
		Subscribe: &server.SubjectPermission{Allow: []string{"_INBOX.>", "gravlab.here.>", "gravlab.brought.>"}},
	}
}

// serve starts a server in this program and puts its address into o. Whoever marks has one name,
// those who lend another and a lab hour a third, each with a password made now or the last time;
// lend.token is for those who lend.
func serve(o *options) (end func(), err error) {
	host, port, err := net.SplitHostPort(o.listen)
	if err != nil {
		return nil, fmt.Errorf("--machines-listen takes an address with a port, such as 192.0.2.7:4222: %w", err)
	}
	n, err := strconv.Atoi(port)
	if err != nil {
		return nil, fmt.Errorf("%q is no port", port)
	}
	if n == 0 { // any free one; the server would take 0 for its usual one
		n = server.RANDOM_PORT
	}
	if err := os.MkdirAll(o.dir, 0o700); err != nil {
		return nil, err
	}
	var users []*server.User
	for _, role := range []string{"mark", "lend", "hour"} {
		file := filepath.Join(o.dir, role+".token")
		text, err := os.ReadFile(file)
		if err != nil {
			secret := make([]byte, 24)
			rand.Read(secret)
			text = []byte(role + ":" + hex.EncodeToString(secret))
			if err := os.WriteFile(file, text, 0o600); err != nil {
				return nil, err
			}
		}
		password, ok := strings.CutPrefix(strings.TrimSpace(string(text)), role+":")
		if !ok || password == "" {
			return nil, fmt.Errorf("%s holds no password; remove it, and a new one is made", file)
		}
		u := &server.User{Username: role, Password: password}
		switch role {
		case "lend":
			u.Permissions = lenderMay()
		case "hour":
			u.Permissions = hourMay()
		}
		users = append(users, u)
	}
	options := &server.Options{Host: host, Port: n, JetStream: true, StoreDir: filepath.Join(o.dir, "stored"), Users: users, NoSigs: true, NoLog: true,
		JetStreamMaxMemory: 64 << 20, JetStreamMaxStore: 8 << 30, MaxPayload: 1 << 20}
	scheme := "nats"
	if o.cert != "" {
		pair, err := tls.LoadX509KeyPair(o.cert, o.certKey)
		if err != nil {
			return nil, err
		}
		options.TLS, options.TLSConfig = true, &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS13}
		options.TLSTimeout = 5
		o.ca, scheme = o.cert, "tls"
	}
	s, err := server.NewServer(options)
	if err != nil {
		return nil, err
	}
	go s.Start()
	if !s.ReadyForConnections(20 * time.Second) {
		s.Shutdown()
		return nil, fmt.Errorf("no server could be started on %s: is the port taken?", o.listen)
	}
	o.to, o.tokenFile = scheme+"://"+net.JoinHostPort(host, strconv.Itoa(s.Addr().(*net.TCPAddr).Port)), filepath.Join(o.dir, "mark.token")
	if o.role == "boxes" {
		o.tokenFile = filepath.Join(o.dir, "hour.token")
	}
	return func() { s.Shutdown(); s.WaitForShutdown() }, nil
}
