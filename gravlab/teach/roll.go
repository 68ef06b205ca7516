package teach

import (
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"runtime"
	"sync"

	"gravity.example/gravlab/bank"
	"gravity.example/gravlab/internal/atomicfile"
)

// A roll knows whose card a code is. It keeps slow salted hashes, and no codes.
type roll struct {
	path string

	mu     sync.Mutex
	Secret string          `json:"secret"` // from which keys of browsers are made
	Cards  map[string]card `json:"cards"`  // by student
	names  map[string]string
	slow   chan struct{} // as many hashes as are worked out at once
}

// A card is what is kept of one.
type card struct {
	Name string `json:"name"` // the first characters of its code
	Salt string `json:"salt"`
	Hash string `json:"hash"`
}

// readRoll reads the roll of a data folder, or begins one.
func readRoll(path string) (*roll, error) {
	r := &roll{path: path, Cards: map[string]card{}, names: map[string]string{}, slow: make(chan struct{}, max(1, runtime.NumCPU()/2))}
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		r.Secret = hex.EncodeToString(random(32))
		return r, nil
	case err != nil:
		return nil, err
	}
	if err := json.Unmarshal(text, r); err != nil || len(r.Secret) != 64 {
		return nil, fmt.Errorf("%s is not the list of entry codes that this program wrote: put back a copy, or delete it, and every student gets a new card", path)
	}
	for id, c := range r.Cards {
		r.names[c.Name] = id
	}
	return r, nil
}

func random(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) // never fails
	return b
}

// add makes cards for those of the students who have none, and returns their codes.
func (r *roll) add(ids []string) (codes map[string]string, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	codes = map[string]string{}
	var mu sync.Mutex
	var all sync.WaitGroup
	made := map[string]card{}
	for _, id := range ids {
		if _, ok := r.Cards[id]; ok || codes[id] != "" {
			continue
		}
		code := r.free()
		codes[id] = code
		all.Go(func() {
			r.slow <- struct{}{}
			defer func() { <-r.slow }()
			c := cardOf(code)
			mu.Lock()
			defer mu.Unlock()
			made[id] = c
		})
	}
	all.Wait()
	for id, c := range made {
		r.Cards[id], r.names[c.Name] = c, id
	}
	if len(codes) == 0 {
		return codes, nil
	}
	return codes, r.write()
}

// free makes a code whose name no other card has.
func (r *roll) free() string {
	for {
		code := newCode()
		if _, taken := r.names[code[:nameLength]]; !taken {
			r.names[code[:nameLength]] = ""
			return code
		}
	}
}

func cardOf(code string) card {
	salt := random(16)
	return card{code[:nameLength], hex.EncodeToString(salt), hex.EncodeToString(hashed(code, salt))}
}

// replace makes another card for a student. The old code opens nothing from then on, and
// browsers that it has let in have to come in again.
func (r *roll) replace(id string) (code string, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	old := r.Cards[id]
	code = r.free()
	c := cardOf(code)
	r.Cards[id], r.names[c.Name] = c, id
	if err := r.write(); err != nil {
		r.Cards[id] = old
		delete(r.names, c.Name)
		return "", err
	}
	delete(r.names, old.Name)
	return code, nil
}

func (r *roll) write() error {
	text, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return err
	}
	return atomicfile.WriteFile(r.path, append(text, '\n'), 0o600)
}

// named is the student whose card begins as a code does.
func (r *roll) named(code string) (id string, c card) {
	r.mu.Lock()
	defer r.mu.Unlock()
	id = r.names[code[:nameLength]]
	return id, r.Cards[id]
}

// opens reports whether a code is that of a card.
func (r *roll) opens(c card, code string) bool {
	salt, err := hex.DecodeString(c.Salt)
	hash, err2 := hex.DecodeString(c.Hash)
	if err != nil || err2 != nil || len(hash) == 0 {
		return false
	}
	r.slow <- struct{}{}
	defer func() { <-r.slow }()
	return sameHash(hashed(code, salt), hash)
}

// key makes something secret for a student from the secret of the roll and from their
// card: the same after the program has been started again, and another with a new card.
func (r *roll) key(id, what string) string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return hex.EncodeToString(bank.Keyed([]byte(r.Secret), "place", what, id, r.Cards[id].Salt)[:16])
}
