// Command machines carries errands between a program that marks and those that lend their
// processors: the program starts it, and speaks with it through its standard input and output
// (package gravlab/machines). It holds all that has to do with NATS, and knows nothing of what the
// bytes mean.
package main

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/gob"
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"path/filepath"
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
	name                       string // of a lender; "" is the machine's and the process's
	to, creds, tokenFile, ca   string
	listen, dir, cert, certKey string
	places                     int
	ackWait                    time.Duration // a machine that says nothing for so long has lost its errand
	tryFor                     time.Duration // how long the server may take for one thing, until it is tried again
}

func run(l *link, args []string) error {
	if len(args) == 0 || args[0] != "mark" && args[0] != "boxes" && args[0] != "lend" {
		return errors.New("this program is started by gravlab mark or teach --machines and by gravlab lend")
	}
	o := options{role: args[0], tryFor: 10 * time.Second}
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
	f.DurationVar(&o.ackWait, "ack-wait", 30*time.Second, "") // tests wait less long
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
			switch {
			case err == nil: // closed here
			case o.role == "lend":
				l.note("%s is away (%v), or the marking has ended; this machine goes on when it is there again, or for the next marking", o.to, err)
			default:
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

	keepFor  = 24 * time.Hour // nothing stays longer
	mostRuns = 3              // an errand that ends so many machines is set aside
	large    = 512 << 10      // bytes

	// secretHeader holds what an errand's outcome is stored under, beside its key. Only who was
	// given the errand knows it, so no machine can write the outcome of another one's.
	secretHeader = "Gravlab-Secret"
)

// A station is a connection with what lies on the server.
type station struct {
	o       options
	nc      *nats.Conn
	js      jetstream.JetStream
	jobs    jetstream.Stream
	back    jetstream.KeyValue // of the side that marks
	objects jetstream.ObjectStore
	queue   jetstream.Consumer // of a lender; nil until it is found
	secret  []byte             // of the side that marks; see secretOf
}

// secretOf is what an errand's outcome is stored under. It is the same in every call of a marking,
// so that what came back meanwhile is found.
func (s *station) secretOf(key string) string {
	h := hmac.New(sha256.New, s.secret)
	h.Write([]byte(key))
	return hex.EncodeToString(h.Sum(nil))[:32]
}

func (s *station) subject(key string) string { return "gravlab.jobs." + s.o.version + "." + key }
func (s *station) consumer() string          { return "lend-" + s.o.version }

// open makes what lies on the server, if this is the side that marks. A lender finds it when it is
// there, and a lab hour needs nothing of it.
func open(ctx context.Context, nc *nats.Conn, o options) (*station, error) {
	js, err := jetstream.New(nc)
	if err != nil {
		return nil, err
	}
	s := &station{o: o, nc: nc, js: js}
	if o.role != "mark" {
		return s, nil
	}
	for began := time.Now(); ; {
		try, stop := context.WithTimeout(ctx, 10*time.Second)
		err = s.make(try)
		stop()
		if err == nil || time.Since(began) > time.Minute { // a cluster may be choosing its leader
			return s, err
		}
		time.Sleep(time.Second)
	}
}

func (s *station) make(ctx context.Context) (err error) {
	if s.secret, err = secretIn(s.o.dir); err != nil {
		return err
	}
	// What is there stays: a cluster that has lost a server cannot make it anew, and can go on.
	// A cluster keeps three copies, so that it can lose a server; one server keeps one.
	for _, copies := range []int{0, 3, 1} {
		if err = s.makeWith(ctx, copies); err == nil {
			break
		}
	}
	if err != nil {
		return err
	}
	if _, err = s.jobs.Consumer(ctx, s.consumer()); err == nil {
		return nil
	}
	_, err = s.jobs.CreateOrUpdateConsumer(ctx, jetstream.ConsumerConfig{Durable: s.consumer(), FilterSubject: s.subject("*"),
		AckPolicy: jetstream.AckExplicitPolicy, AckWait: s.o.ackWait, MaxDeliver: mostRuns, MaxAckPending: 10_000, InactiveThreshold: keepFor})
	return err
}

// makeWith makes the queue and what belongs to it with so many copies, or finds it (0).
func (s *station) makeWith(ctx context.Context, copies int) (err error) {
	if copies == 0 {
		var err1, err2, err3 error
		s.jobs, err1 = s.js.Stream(ctx, jobsName)
		s.objects, err2 = s.js.ObjectStore(ctx, bigName)
		s.back, err3 = s.js.KeyValue(ctx, backName)
		return errors.Join(err1, err2, err3)
	}
	if s.jobs, err = s.js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{Name: jobsName, Subjects: []string{"gravlab.jobs.>"},
		Retention: jetstream.WorkQueuePolicy, MaxAge: keepFor, MaxMsgsPerSubject: 1, Discard: jetstream.DiscardOld, Replicas: copies}); err != nil {
		return err
	}
	if s.objects, err = s.js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{Bucket: bigName, TTL: keepFor, Replicas: copies}); err != nil {
		return err
	}
	s.back, err = s.js.CreateOrUpdateKeyValue(ctx, jetstream.KeyValueConfig{Bucket: backName, TTL: keepFor, History: 1, Replicas: copies})
	return err
}

const secretName = "outcomes.key"

// secretIn reads or makes the secret of a folder.
func secretIn(dir string) ([]byte, error) {
	file := filepath.Join(dir, secretName)
	if text, err := os.ReadFile(file); err == nil && len(text) == 64 {
		return text, nil
	}
	secret := make([]byte, 32)
	rand.Read(secret)
	text := []byte(hex.EncodeToString(secret))
	return text, errors.Join(os.MkdirAll(dir, 0o700), os.WriteFile(file, text, 0o600))
}

// trying does something again and again while the server is away, so many times at most.
func (s *station) trying(ctx context.Context, times int, do func(ctx context.Context) error) (err error) {
	for range times {
		try, stop := context.WithTimeout(ctx, s.o.tryFor)
		err = do(try)
		stop()
		if err == nil || ctx.Err() != nil {
			break
		}
		time.Sleep(time.Second)
	}
	return err
}

// pack puts what is large into the object store, and gives what stands in its place: its hash, and
// its name there.
func (s *station) pack(ctx context.Context, name string, body []byte) ([]byte, error) {
	if len(body) <= large {
		return append([]byte{'='}, body...), nil
	}
	_, err := s.objects.PutBytes(ctx, name, body)
	hash := sha256.Sum256(body)
	return append(append([]byte{'>'}, hash[:]...), name...), err
}

func (s *station) unpack(ctx context.Context, text []byte) ([]byte, error) {
	switch {
	case len(text) > 0 && text[0] == '=':
		return text[1:], nil
	case len(text) > 1+sha256.Size && text[0] == '>':
		hash, name := text[1:1+sha256.Size], string(text[1+sha256.Size:])
		body, err := s.objects.GetBytes(ctx, name)
		if errors.Is(err, jetstream.ErrObjectNotFound) {
			return nil, fmt.Errorf("%w: %s is not there", errUnusable, name)
		}
		if err != nil {
			return nil, err
		}
		if got := sha256.Sum256(body); !bytes.Equal(got[:], hash) {
			return nil, fmt.Errorf("%w: %s is not what was put there", errUnusable, name)
		}
		return body, nil
	}
	return nil, errForeign
}

var (
	errForeign  = errors.New("it is nothing that gravlab has put there")
	errUnusable = errors.New("its object cannot be used") // now or later; other errors pass
)
