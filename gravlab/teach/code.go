package teach

import (
	"crypto/pbkdf2"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"strings"
)

// An entry code opens a student's place: 16 characters at random, 80 bits, and one that
// checks them. The first three name the card, so that one slow hash is enough to try a code;
// the other 65 bits are the secret.
const (
	codeLength = 16
	nameLength = 3
)

// codeLetters leave out the letters that people misread: I, L, O and U.
const codeLetters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// newCode makes an entry code.
func newCode() string {
	b := make([]byte, codeLength)
	rand.Read(b) // never fails
	for i := range b {
		b[i] = codeLetters[b[i]%32]
	}
	return string(b) + string(checkLetter(b))
}

// checkLetter is the value of the polynomial whose coefficients are the characters, at a
// primitive element of GF(32), without a constant term. The powers of the element up to 16
// differ, so one wrong character and two that are swapped always show.
func checkLetter(code []byte) byte {
	sum := 0
	for _, c := range code {
		sum = double(sum ^ strings.IndexByte(codeLetters, c))
	}
	return codeLetters[sum]
}

// double multiplies by the primitive element of GF(32), modulo x⁵+x²+1.
func double(v int) int {
	v <<= 1
	if v&32 != 0 {
		v ^= 32 | 5
	}
	return v
}

// grouped is a code as a card shows it.
func grouped(code string) string {
	var parts []string
	for len(code) > 5 {
		parts = append(parts, code[:4])
		code = code[4:]
	}
	return strings.Join(append(parts, code), "-")
}

var (
	errNoCode   = errors.New("this is not the code of a card, which has 17 letters and digits")
	errMistyped = errors.New("the code is mistyped: one of its characters is wrong, or two are swapped; compare it with your card")
)

// parseCode reads a code as people type it: in small letters, with O for 0 and I or L for
// 1, with or without hyphens.
func parseCode(text string) (string, error) {
	if len(text) > 100 {
		return "", errNoCode
	}
	clean := strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(text))
	if len(clean) != codeLength+1 {
		return "", errNoCode
	}
	for i := range len(clean) {
		if strings.IndexByte(codeLetters, clean[i]) < 0 {
			return "", errNoCode
		}
	}
	if checkLetter([]byte(clean[:codeLength])) != clean[codeLength] {
		return "", errMistyped
	}
	return clean, nil
}

// rounds are those of PBKDF2 (NIST SP 800-132) with HMAC-SHA-256: some 30 ms. The 65 secret
// bits of a code are random, so that a stolen file of hashes could not be searched through
// with far fewer.
const rounds = 100_000

// hashed is the slow salted hash of a code.
func hashed(code string, salt []byte) []byte {
	sum, err := pbkdf2.Key(sha256.New, code, salt, rounds, 32)
	if err != nil {
		panic(err) // of the parameters alone
	}
	return sum
}

func sameHash(a, b []byte) bool { return subtle.ConstantTimeCompare(a, b) == 1 }
