package fieldday_test

import (
	"fmt"
	"log"

	"gravity.example/gravlab"
	"gravity.example/gravlab/fieldbook"
	"gravity.example/gravlab/fieldday"
)

func Example() {
	text, _, err := fieldday.Practice(fieldday.PracticePlan{Seed: 1, Blunder: 16})
	if err != nil {
		log.Fatal(err)
	}
	book, err := fieldbook.Read(fieldday.PracticeFiles(text)) // of your own: fieldbook.Files{...}
	if err != nil {
		log.Fatal(err) // every problem, with file, line, station and local time
	}
	result, err := fieldday.Work(book, nil)
	if err != nil {
		log.Fatal(err)
	}
	for _, doubt := range result.Doubts {
		fmt.Printf("look at %s line %d: %q\n", doubt.File, doubt.Line, doubt.Station)
	}
	day := result.Days[0]
	fmt.Printf("drift %.0f µGal/h, step %.0f µGal\n", day.Found.Rate*3600/gravlab.MicroGal, day.Found.Steps[0]/gravlab.MicroGal)
	for _, s := range result.Stations[:3] {
		fmt.Printf("%-4s anomaly %.2f ± %.2f mGal\n", s.Name, s.Anomaly.Value/gravlab.MilliGal, s.U.All()/gravlab.MilliGal)
	}
	files, err := result.Files() // or result.Write("day1")
	if err != nil {
		log.Fatal(err)
	}
	fmt.Println(len(files), "files, among them report.html:", len(files["report.html"]) > 0)
	// Output:
	// look at readings.csv line 18: "S4"
	// look at readings.csv line 0: ""
	// look at points.csv line 14: "S12"
	// drift 10 µGal/h, step 66 µGal
	// base anomaly 20.25 ± 0.00 mGal
	// S1   anomaly 20.26 ± 0.01 mGal
	// S2   anomaly 20.25 ± 0.01 mGal
	// 13 files, among them report.html: true
}
