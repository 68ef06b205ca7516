package page_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"gravity.example/gravlab/ask"
	"gravity.example/gravlab/internal/browsertest"
	labpage "gravity.example/gravlab/page"
)

// A stubbed sensor: what a browser would send, in steps of 0.1 m/s². It says with
// gap that it stops for half a second after two.
const sensorStub = `
window.DeviceMotionEvent = class { static requestPermission() { window.inTap = navigator.userActivation.isActive; return Promise.resolve(window.leave) } }
window.sensor = (gap) => {
  const begun = performance.now()
  window.ticking = setInterval(() => {
    const t = (performance.now() - begun) / 1000
    if (gap && t > 7 && t < 7.5) return
    const e = new Event("devicemotion")
    e.accelerationIncludingGravity = { x: 0, y: 0, z: t > 9 && t < 10 ? 10.9 : 9.8 }
    dispatchEvent(e)
  }, 16)
}`

// A reader records with the device: leave is asked for inside the tap, refused and missing
// sensors are told, and what was recorded stands beside the notebook with what it really was.
func TestRecordWithDevice(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}, Web: browsertest.Built(t)}, labs+"/07-in-the-lift.ipynb")
	script := func(js string) { r.do(chromedp.Evaluate[chromedp.Void](js + "\n;0")) }
	const tap = ".ride button.give"
	state := func(text string) {
		t.Helper()
		r.waitFor(`document.querySelector(".ride-state").textContent.includes("` + text + `")`)
	}
	script(sensorStub + `; window.leave = "denied"`)
	r.click(tap)
	state("did not allow it")
	if got := r.read(`String(window.inTap)`); got != "true" {
		t.Errorf("the browser was asked outside a tap: %s", got)
	}
	r.axe("a recording that was refused")

	// Allowed, and no sensor: the standard has such a browser send one event without values.
	script(`window.leave = "granted"; const none = new Event("devicemotion"); none.accelerationIncludingGravity = null; setTimeout(() => dispatchEvent(none), 500)`)
	r.click(tap)
	state("Recording begins in")
	state("No readings come")

	script(`sensor(true)`)
	r.click(tap)
	state("Recording:")
	r.shot("recording", false)
	r.waitFor(`/Recording: ([6-9]|\d\d) s/.test(document.querySelector(".ride-state").textContent)`)
	r.click(tap)
	r.waitFor(`document.querySelector(".ride").innerText.includes("own-ride.csv")`)
	said := r.read(`document.querySelector(".ride").innerText`)
	for _, want := range []string{"per second", "1 gap: 0.5", "OwnRecording(\"own-ride.csv\")", "Steps of 1.1 m/s²"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not said: %s", want, said)
		}
	}
	r.axe("a recording that was saved")
	r.shot("recorded", false)
	// It is a phone that records.
	r.look(390, 844, "dark")
	r.do(chromedp.Evaluate[chromedp.Void](`document.querySelector(".ride").scrollIntoView()`))
	r.shot("recorded-phone", false)
	r.fits("a recording on a phone")
	r.axe("a recording on a phone")
	text, err := os.ReadFile(filepath.Join(r.data, "work", "own-ride.csv"))
	if err != nil {
		t.Fatal(err)
	}
	rec, err := ask.ReadTable("own-ride.csv", string(text))
	if err != nil || len(rec.Column("reading")) < 50 {
		t.Errorf("%v: %.300s", err, text)
	}

	// The program is gone when the next one is to be saved: it waits, and is saved afterwards,
	// under another name.
	r.quiet.Store(true)
	r.click(tap)
	state("Recording:")
	r.waitFor(`/Recording: [2-9] s/.test(document.querySelector(".ride-state").textContent)`)
	r.stopServing()
	r.click(tap)
	state("The recording waits in this tab")
}

// Chromium's own events, from sensors that it emulates: the readings come in the steps to which a
// browser limits them, and the page says so. An emulated sensor is no phone.
func TestRecordEmulated(t *testing.T) {
	r := enter(t, labpage.Options{Labs: labs, Data: t.TempDir(), Runner: scripted{}}, labs+"/07-in-the-lift.ipynb")
	sensors := map[emulation.SensorType]*emulation.SensorReadingXYZ{
		emulation.SensorTypeAccelerometer: {Z: 9.8066}, emulation.SensorTypeLinearAcceleration: {}, emulation.SensorTypeGyroscope: {},
	}
	set := func(kind emulation.SensorType, at *emulation.SensorReadingXYZ) {
		t.Helper()
		if _, err := chromedp.Call(r.ctx, emulation.SetSensorOverrideReadings, emulation.SetSensorOverrideReadingsParams{Type: kind, Reading: &emulation.SensorReading{Xyz: at}}); err != nil {
			t.Fatal(err)
		}
	}
	for kind, at := range sensors {
		if _, err := chromedp.Call(r.ctx, emulation.SetSensorOverrideEnabled, emulation.SetSensorOverrideEnabledParams{Enabled: true, Type: kind}); err != nil {
			t.Fatal(err)
		}
		set(kind, at)
	}
	r.click(".ride button.give")
	r.waitFor(`document.querySelector(".ride-state").textContent.startsWith("Recording:")`)
	r.waitFor(`/Recording: [3-9] s/.test(document.querySelector(".ride-state").textContent)`)
	for _, z := range []float64{9.91, 10.043, 9.87, 9.8066} {
		set(emulation.SensorTypeAccelerometer, &emulation.SensorReadingXYZ{Z: z})
		time.Sleep(300 * time.Millisecond)
	}
	r.click(".ride button.give")
	r.waitFor(`document.querySelector(".ride").innerText.includes("own-ride.csv")`)
	if said := r.read(`document.querySelector(".ride").innerText`); !strings.Contains(said, "Steps of 0.1 m/s²") || !strings.Contains(said, "At rest it read 9.8 m/s²") {
		t.Error(said)
	}
}
