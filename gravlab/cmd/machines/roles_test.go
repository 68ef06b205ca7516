package main

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"encoding/gob"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// certificate writes a certificate for 127.0.0.1 that has signed itself.
func certificate(t *testing.T, dir string) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{SerialNumber: big.NewInt(time.Now().UnixNano()), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, &k.PublicKey, k)
	if err != nil {
		t.Fatal(err)
	}
	private, err := x509.MarshalPKCS8PrivateKey(k)
	if err != nil {
		t.Fatal(err)
	}
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for file, b := range map[string]*pem.Block{cert: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: private}} {
		if err := os.WriteFile(file, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return cert, key
}

// passes reports an error if a message does not pass from one connection to another.
func passes(ctx context.Context, from, to *nats.Conn, subject string) error {
	sub, err := to.SubscribeSync(subject)
	if err != nil {
		return err
	}
	defer sub.Unsubscribe()
	to.Flush()
	if err := from.Publish(subject, []byte("forged")); err != nil {
		return err
	}
	_, err = sub.NextMsgWithContext(ctx)
	return err
}

// Wrong passwords and foreign certificates are refused, and so is whatever a lender may not do;
// what it needs, large errands included, works.
func TestRoles(t *testing.T) {
	dir, foreign := t.TempDir(), t.TempDir()
	o := options{role: "mark", version: "v", listen: "127.0.0.1:0", dir: dir, ackWait: time.Minute, tryFor: 10 * time.Second}
	o.cert, o.certKey = certificate(t, dir)
	other, _ := certificate(t, foreign)
	end, err := serve(&o)
	if err != nil {
		t.Fatal(err)
	}
	defer end()
	l := &link{enc: gob.NewEncoder(io.Discard)}
	ctx := t.Context()
	as := func(o options) *station {
		t.Helper()
		nc, err := connect(l, o)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(nc.Close)
		s, err := open(ctx, nc, o)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	marker := as(o)
	o.role, o.tokenFile = "lend", filepath.Join(dir, "lend.token")
	lender := as(o)
	if lender.objects, err = lender.js.ObjectStore(ctx, bigName); err != nil {
		t.Fatal(err)
	}
	o.tokenFile = filepath.Join(dir, "hour.token")
	nc, err := connect(l, o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	hour, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}

	wrong := o
	wrong.tokenFile = filepath.Join(foreign, "lend.token")
	if err := os.WriteFile(wrong.tokenFile, []byte("lend:guessed"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := connect(l, wrong); err == nil || !strings.Contains(err.Error(), "Authorization") {
		t.Errorf("with a wrong password: %v", err)
	}
	wrong = o
	wrong.ca = other
	if _, err := connect(l, wrong); err == nil || !strings.Contains(err.Error(), "certificate") {
		t.Errorf("with another's certificate: %v", err)
	}

	within := func(do func(ctx context.Context) error) error {
		ctx, stop := context.WithTimeout(ctx, time.Second)
		defer stop()
		return do(ctx)
	}
	for what, do := range map[string]func(context.Context) error{
		"an outcome, as a lab hour": func(ctx context.Context) error {
			_, err := hour.Publish(ctx, "$KV."+backName+".k.secret", nil)
			return err
		},
		"a look at outcomes": func(ctx context.Context) error { _, err := lender.js.KeyValue(ctx, backName); return err },
		"an errand": func(ctx context.Context) error {
			_, err := lender.js.Publish(ctx, "gravlab.jobs.v.forged", nil)
			return err
		},
		"a new stream": func(ctx context.Context) error {
			_, err := lender.js.CreateStream(ctx, jetstream.StreamConfig{Name: "more", Subjects: []string{"more"}})
			return err
		},
		"the end of the queue": func(ctx context.Context) error { return lender.js.DeleteStream(ctx, jobsName) },
		"a box": func(ctx context.Context) error {
			return passes(ctx, lender.nc, marker.nc, "gravlab.boxes.v")
		},
		"a listener to what comes back": func(ctx context.Context) error {
			return passes(ctx, marker.nc, lender.nc, "gravlab.brought.x")
		},
		"another bucket": func(ctx context.Context) error { _, err := lender.js.Publish(ctx, "$KV.other.key", nil); return err },
	} {
		if within(do) == nil {
			t.Errorf("a lender could make %s", what)
		}
	}
	if info, err := marker.jobs.Info(ctx); err != nil || info.State.Msgs != 0 {
		t.Errorf("the queue holds %+v, %v", info, err)
	}

	// Boxes go to lenders, and what comes back to who asked.
	for subject, way := range map[string][2]*nats.Conn{"gravlab.boxes.v": {marker.nc, lender.nc}, "gravlab.brought.x": {lender.nc, marker.nc}} {
		if err := within(func(ctx context.Context) error { return passes(ctx, way[0], way[1], subject) }); err != nil {
			t.Errorf("%s: %v", subject, err)
		}
	}

	for _, n := range []int{3, 3 << 20} {
		body := make([]byte, n)
		rand.Read(body)
		text, err := marker.pack(ctx, "job-k", body)
		if err != nil {
			t.Fatal(err)
		}
		if got, err := lender.unpack(ctx, text); err != nil || string(got) != string(body) {
			t.Errorf("an errand of %d bytes comes as %d bytes, %v", n, len(got), err)
		}
		if text, err = lender.pack(ctx, "back-k", body); err != nil {
			t.Fatal(err)
		}
		if _, err := lender.js.Publish(ctx, "$KV."+backName+".k.secret", text); err != nil {
			t.Fatal(err)
		}
		if got, err := marker.unpack(ctx, text); err != nil || string(got) != string(body) {
			t.Errorf("%d bytes come back as %d bytes, %v", n, len(got), err)
		}
	}
	if _, err := lender.unpack(ctx, []byte("filled by others")); err == nil {
		t.Error("what others put into the stream is taken for an errand")
	}
}
