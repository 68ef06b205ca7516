// Command cell is what a notebook's cell becomes: a program of its own that
// submits answers and shows figures. Its arguments say what to do.
package main

import (
	"fmt"
	"math"
	"os"
	"strconv"

	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/show"
)

var sheet = ask.Sheet("00-first-steps", "")

func mean(x []float64) float64 {
	sum := 0.0
	for i, v := range x {
		sum += v
		x[i] = 0 // a function may spoil its own copy
	}
	return sum / float64(len(x))
}

func main() {
	switch os.Args[1] {
	case "number":
		v, _ := strconv.ParseFloat(os.Args[3], 64)
		sheet.Number(os.Args[2], v, os.Args[4])
	case "function":
		sheet.Function("mean", mean)
	case "remembers":
		calls := 0.0
		sheet.Function("mean", func(x []float64) float64 { calls++; return calls })
	case "panics":
		sheet.Function("mean", func(x []float64) float64 { return x[99] })
	case "wrong-function":
		sheet.Function("mean", func(x float64) float64 { return x })
	case "many":
		for i := range 200 {
			show.HTML(fmt.Sprint("display ", i))
		}
	case "exits":
		show.HTML("before the end")
		os.Exit(3)
	case "figure":
		x := []float64{0, 1, 2}
		show.Plot("Swing", show.Axis("time", "s"), show.Axis("angle", "mrad"),
			show.Points("record", x, x, []float64{0.1, 0.1, 0.1}), show.Line("fit", x, x), show.Caption("A straight line."))
	case "chart":
		x := []float64{0, 1, 2}
		show.Chart("Swing", show.Axis("time", "s"), show.Axis("angle", "mrad"), show.Line("fit", x, []float64{1, math.NaN(), 2}))
	case "record":
		rec := ask.Sheet("01-weighing-the-earth", "").Recording(os.Args[2])
		fmt.Println(rec.Names(), rec.Len())
	case "hangs":
		show.HTML("a display that nobody takes")
	case "done":
		sheet.Done()
	}
}
