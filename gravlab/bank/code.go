package bank

import (
	"crypto/sha256"
	"fmt"
	"strings"
)

// A Code names a sheet, "K7QF-3M2P": seven characters of seed and one that checks them. The
// empty code is the default sheet, which the repository's notebooks carry. A code that ends
// in -S is the name of a sealed sheet and no seed (see Code.Sealed).
type Code string

// alphabet leaves out the letters that people misread: I, L, O and U.
const alphabet = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// checkCharacter is a weighted sum modulo 31 with weights 1 to 7. Since 31 is a
// prime above the weights, changing one character changes the sum, unless the
// two characters differ by 31 (0 and Z); swapping two changes it too. Z is
// therefore never used in a code.
func checkCharacter(seven string) (byte, bool) {
	sum := 0
	for i := 0; i < len(seven); i++ {
		v := strings.IndexByte(alphabet, seven[i])
		if v < 0 || v >= 31 {
			return 0, false
		}
		sum += (i + 1) * v
	}
	return alphabet[sum%31], true
}

// ParseCode reads a code as people type it: in small letters, with O for 0 and
// I or L for 1, with or without the hyphen. A code with one wrong character is
// told apart from text that is no code at all.
func ParseCode(text string) (Code, error) {
	clean := strings.NewReplacer("-", "", " ", "", "O", "0", "I", "1", "L", "1").Replace(strings.ToUpper(text))
	if clean == "" {
		return "", nil
	}
	end := ""
	if len(clean) == 9 && clean[8] == 'S' {
		clean, end = clean[:8], sealedEnd
	}
	if len(clean) != 8 {
		return "", fmt.Errorf("%q is not a sheet code: a code has eight letters and digits, like K7QF-3M2P; copy it from the first code cell of your sheet", text)
	}
	check, ok := checkCharacter(clean[:7])
	if !ok || strings.IndexByte(alphabet, clean[7]) < 0 {
		return "", fmt.Errorf("the sheet code %q holds a character that no code has; compare it with the one on your sheet", text)
	}
	if check != clean[7] {
		return "", fmt.Errorf("the sheet code %q is mistyped: its last character does not fit the others, so one of them is wrong or two are swapped; compare it with the one on your sheet", text)
	}
	return Code(clean[:4] + "-" + clean[4:] + end), nil
}

// codeFrom turns bytes (a hash) into a code.
func codeFrom(b []byte) Code {
	seven := make([]byte, 7)
	for i := range seven {
		// Four bytes modulo 31: the unevenness is below 1e-8.
		v := uint32(b[4*i])<<24 | uint32(b[4*i+1])<<16 | uint32(b[4*i+2])<<8 | uint32(b[4*i+3])
		seven[i] = alphabet[v%31]
	}
	check, _ := checkCharacter(string(seven))
	return Code(fmt.Sprintf("%s-%s%c", seven[:4], seven[4:], check))
}

// StudentCode is the code of a student's practice sheet of a lab: a keyed hash of both, so
// that only the holder of the class key can tell whose sheet a file is. word tells the
// sheets of a resit from the first ones, which have none.
func StudentCode(key []byte, lab, student, word string) Code {
	return codeFrom(Keyed(key, "practice", lab, student, word))
}

// NumberedCode is the code of the n-th sheet of a lab without a class: for
// tests, and for a student who wants other numbers.
func NumberedCode(lab string, n int) Code {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00numbered\x00%d", lab, n))
	return codeFrom(sum[:])
}
