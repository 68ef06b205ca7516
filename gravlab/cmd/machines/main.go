// Command machines carries errands between a program that marks and those that lend their
// processors: the program starts it, and speaks with it through its standard input and output
// (package gravlab/machines). It holds all that has to do with NATS, and knows nothing of what the
// bytes mean.
package main

import (
	"context"
	"encoding/gob"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"gravity.example/gravlab/machines/pipe"
)

func main() {
	l := &link{enc: gob.NewEncoder(os.Stdout), dec: gob.NewDecoder(os.Stdin)}
	if err := run(l, os.Args[1:]); err != nil {
		l.send(pipe.Message{Kind: pipe.End, Text: err.Error()})
		os.Exit(1)
	}
}

// A link is the pipe to the program that started this one.
type link struct {
	mu  sync.Mutex
	enc *gob.Encoder
	dec *gob.Decoder
}

func (l *link) send(m pipe.Message) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.enc.Encode(m)
}

func (l *link) note(format string, args ...any) {
	l.send(pipe.Message{Kind: pipe.Note, Text: fmt.Sprintf(format, args...)})
}

type options struct {
	role, version              string
	to, creds, tokenFile, ca   string
	listen, dir, cert, certKey string
	places, copies             int
}

func run(l *link, args []string) error {
	if len(args) == 0 || args[0] != "mark" && args[0] != "boxes" && args[0] != "lend" {
		return errors.New("this program is started by gravlab mark or teach --machines and by gravlab lend")
	}
	o := options{role: args[0]}
	f := flag.NewFlagSet(args[0], flag.ContinueOnError)
	f.SetOutput(io.Discard)
	f.StringVar(&o.version, "version", "", "")
	f.StringVar(&o.to, "to", "", "")
	f.StringVar(&o.creds, "creds", "", "")
	f.StringVar(&o.tokenFile, "token-file", "", "")
	f.StringVar(&o.ca, "tls-ca", "", "")
	f.StringVar(&o.listen, "listen", "", "")
	f.StringVar(&o.dir, "dir", "", "")
	f.StringVar(&o.cert, "cert", "", "")
	f.StringVar(&o.certKey, "cert-key", "", "")
	f.IntVar(&o.places, "places", 1, "")
	f.IntVar(&o.copies, "copies", 1, "")
	if err := f.Parse(args[1:]); err != nil {
		return err
	}
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	if o.listen != "" {
		end, err := serve(&o)
		if err != nil {
			return err
		}
		defer end()
	}
	nc, err := connect(l, o)
	if err != nil {
		return err
	}
	defer nc.Close()
	s, err := open(ctx, nc, o)
	if err != nil {
		return fmt.Errorf("%s: %w", o.to, err)
	}
	switch o.role {
	case "mark":
		return s.mark(ctx, l)
	case "boxes":
		return s.boxes(ctx, l)
	}
	return s.lend(ctx, l)
}

// connect reaches the server. A token file holds a token, or a name and a password with a colon.
func connect(l *link, o options) (*nats.Conn, error) {
	said := ""
	all := []nats.Option{nats.Name("gravlab " + o.role), nats.MaxReconnects(-1), nats.ReconnectWait(time.Second), nats.Timeout(10 * time.Second),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				l.note("%s is not reached (%v); it is tried again", o.to, err)
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) { l.note("%s is reached again", o.to) }),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			if text := err.Error(); text != said {
				said = text
				l.note("%s: %v", o.to, err)
			}
		}),
	}
	if o.creds != "" {
		all = append(all, nats.UserCredentials(o.creds))
	}
	if o.tokenFile != "" {
		text, err := os.ReadFile(o.tokenFile)
		if err != nil {
			return nil, err
		}
		token := strings.TrimSpace(string(text))
		if name, password, ok := strings.Cut(token, ":"); ok {
			all = append(all, nats.UserInfo(name, password))
		} else {
			all = append(all, nats.Token(token))
		}
	}
	if o.ca != "" {
		all = append(all, nats.RootCAs(o.ca))
	}
	nc, err := nats.Connect(o.to, all...)
	if err != nil {
		return nil, fmt.Errorf("%s cannot be reached: %w", o.to, err)
	}
	return nc, nil
}

const (
	jobsName = "gravlab-jobs"     // the stream of errands
	backName = "gravlab-outcomes" // the bucket of what came back
	bigName  = "gravlab-large"    // the objects of either that are large

	keepFor  = 24 * time.Hour   // nothing stays longer
	ackWait  = 30 * time.Second // a machine that says nothing for so long has lost its errand
	mostRuns = 3                // an errand that ends so many machines is set aside
	large    = 512 << 10        // bytes
)

// A station is a connection with what lies on the server.
type station struct {
	o       options
	nc      *nats.Conn
	js      jetstream.JetStream
	jobs    jetstream.Stream
	back    jetstream.KeyValue
	objects jetstream.ObjectStore
	from    jetstream.Consumer // that errands are fetched from
}

func (s *station) subject(key string) string { return "gravlab.jobs." + s.o.version + "." + key }
func (s *station) consumer() string          { return "lend-" + s.o.version }

// open finds what lies on the server; the side that marks makes it.
func open(ctx context.Context, nc *nats.Conn, o options) (*station, error) {
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, err
	}
	s := &station{o: o, nc: nc, js: js}
	for began := time.Now(); ; {
		try, stop := context.WithTimeout(ctx, 10*time.Second)
		if o.role != "lend" {
			err = s.make(try)
		} else {
			err = s.find(try)
		}
		stop()
		// A lender may be there before the one who marks; a server may still be choosing its
		// leader.
		missing := errors.Is(err, jetstream.ErrStreamNotFound) || errors.Is(err, jetstream.ErrBucketNotFound)
		if err == nil || !missing && time.Since(began) > time.Minute {
			return s, err
		}
		time.Sleep(time.Second)
	}
}

func (s *station) make(ctx context.Context) (err error) {
	if s.jobs, err = s.js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{Name: jobsName, Subjects: []string{"gravlab.jobs.>"},
		Retention: jetstream.WorkQueuePolicy, MaxAge: keepFor, MaxMsgsPerSubject: 1, Discard: jetstream.DiscardOld, Replicas: s.o.copies}); err != nil {
		return err
	}
	if s.objects, err = s.js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{Bucket: bigName, TTL: keepFor, Replicas: s.o.copies}); err != nil {
		return err
	}
	s.back, err = s.js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: backName, TTL: keepFor, History: 1, Replicas: s.o.copies})
	if err != nil {
		return err
	}
	_, err = s.jobs.CreateOrUpdateConsumer(ctx, jetstream.ConsumerConfig{Durable: s.consumer(), FilterSubject: s.subject("*"),
		AckPolicy: jetstream.AckExplicitPolicy, AckWait: ackWait, MaxDeliver: mostRuns, MaxAckPending: 10_000, InactiveThreshold: keepFor})
	return err
}

func (s *station) find(ctx context.Context) (err error) {
	if s.objects, err = s.js.ObjectStore(ctx, bigName); err != nil {
		return err
	}
	s.back, err = s.js.KeyValue(ctx, backName)
	return err
}

// pack puts what is large into the object store, and gives what stands in its place.
func (s *station) pack(ctx context.Context, name string, body []byte) ([]byte, error) {
	if len(body) <= large {
		return append([]byte{'='}, body...), nil
	}
	_, err := s.objects.PutBytes(ctx, name, body)
	return append([]byte{'>'}, name...), err
}

// isObject reports whether pack put something into the object store.
func isObject(text []byte) bool { return len(text) > 0 && text[0] == '>' }

func (s *station) unpack(ctx context.Context, text []byte) ([]byte, error) {
	switch {
	case len(text) > 0 && text[0] == '=':
		return text[1:], nil
	case isObject(text):
		return s.objects.GetBytes(ctx, string(text[1:]))
	}
	return nil, errors.New("it is nothing that gravlab has put there")
}
