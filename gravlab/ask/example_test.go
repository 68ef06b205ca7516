package ask_test

import (
	"fmt"
	"os"

	"gravity.example/gravlab/ask"
)

// A recording of one's own is a CSV file beside the notebook; its columns come
// back in SI units.
func ExampleStudentSheet_OwnRecording() {
	os.WriteFile("pendulum.csv", []byte("time (s),angle (mrad)\n0.0,12.5\n0.1,11.0\n"), 0o600)
	defer os.Remove("pendulum.csv")

	sheet := ask.Sheet("01-weighing-the-earth", "")
	rec := sheet.OwnRecording("pendulum.csv")
	fmt.Println(rec)
	fmt.Println(rec.Column("angle"))
	// Output:
	// pendulum.csv: 2 samples of time (s), angle (rad)
	// [0.0125 0.011]
}
