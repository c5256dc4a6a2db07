package day

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"stillspan/internal/files"
	"stillspan/internal/process"
)

// Slurm hands tasks to a Slurm cluster as one job array, with a dependent job
// that collects the results. Retries after a lost node or a killed task are
// the cluster's. All paths must be the same on every node.
type Slurm struct {
	Program string
	// Dir, on the shared storage, is where scripts and the job number lie.
	Dir string
	// Sees are files and folders that every node must see; one node is asked.
	Sees []string
	// Options are passed to sbatch after ours, such as --partition=NAME.
	Options []string
	// AtOnce is the most tasks that run together; default (0) what the
	// cluster allows.
	AtOnce int
}

// retries is how often the cluster starts a task again that was killed.
const retries = 3

// probeWait is how long a node is asked for before it is left to each task to
// look whether the storage is shared.
const probeWait = 20 * time.Second

// Run submits the batch and returns: the cluster runs its Finish when all is
// done.
func (s *Slurm) Run(ctx context.Context, b Batch) error {
	if err := s.probe(ctx); err != nil {
		return err
	}
	tasks := append([]Task(nil), b.Tasks...)
	Order(tasks)
	array := "" // job number
	if len(tasks) > 0 {
		script := filepath.Join(s.Dir, "array.sh")
		if err := files.WriteBytes(script, []byte(ArrayScript(s.Program, tasks))); err != nil {
			return err
		}
		var err error
		if array, err = s.submit(ctx, script, s.arrayArgs(tasks, b.LogDir)); err != nil {
			return err
		}
	}
	job, err := s.submitFinish(ctx, b, array)
	if err == nil {
		err = files.WriteBytes(s.jobFile(), []byte(job+"\n"))
	}
	if err != nil { // nobody would collect what the array makes
		_, _ = process.Text(context.WithoutCancel(ctx), "scancel", array)
		return err
	}
	return nil
}

func (s *Slurm) arrayArgs(tasks []Task, logDir string) []string {
	array := fmt.Sprintf("--array=1-%d", len(tasks))
	if s.AtOnce > 0 {
		array += fmt.Sprintf("%%%d", s.AtOnce)
	}
	var memory int64
	for _, t := range tasks {
		memory = max(memory, t.MemoryBytes)
	}
	args := []string{array, "--job-name=stillspan", "--requeue", "--open-mode=append",
		fmt.Sprintf("--cpus-per-task=%d", coresPerTask), "--output=" + escapePath(logDir) + "/array-%a.log"}
	if memory > 0 {
		args = append(args, fmt.Sprintf("--mem=%dM", memory>>20+1))
	}
	return args
}

func (s *Slurm) submitFinish(ctx context.Context, b Batch, array string) (string, error) {
	script := filepath.Join(s.Dir, "finish.sh")
	if err := files.WriteBytes(script, []byte(finishScript(s.Program, b.Finish))); err != nil {
		return "", err
	}
	args := []string{"--job-name=stillspan-day", "--requeue", "--open-mode=append", "--output=" + escapePath(b.LogDir) + "/finish.log"}
	if array != "" {
		args = append(args, "--dependency=afterany:"+array)
	}
	return s.submit(ctx, script, args)
}

// ArrayScript is the batch script of the array: task k of tasks is its element
// k, from 1. A task that was killed by a signal is put back into the queue;
// the cluster itself does so when a node is lost.
func ArrayScript(program string, tasks []Task) string {
	var b strings.Builder
	b.WriteString("#!/bin/sh\ncase $SLURM_ARRAY_TASK_ID in\n")
	for i, t := range tasks {
		fmt.Fprintf(&b, "%d) set -- %s ;;\n", i+1, process.Quote(append([]string{program}, t.Args...)...))
	}
	fmt.Fprintf(&b, `*) echo "no task $SLURM_ARRAY_TASK_ID" >&2; exit 1 ;;
esac
"$@"
code=$?
if [ $code -gt 128 ] && [ $code -ne 130 ] && [ "${SLURM_RESTART_COUNT:-0}" -lt %d ]; then
	echo "killed (code $code): back into the queue" >&2
	scontrol requeue "$SLURM_JOB_ID" && sleep 60
fi
exit $code
`, retries)
	return b.String()
}

func finishScript(program string, args []string) string {
	return "#!/bin/sh\nexec " + process.Quote(append([]string{program}, args...)...) + "\n"
}

// probe asks one node whether it sees what every node must see.
func (s *Slurm) probe(ctx context.Context) error {
	for _, tool := range []string{"sbatch", "srun", "scontrol", "squeue"} {
		if _, err := exec.LookPath(tool); err != nil {
			return &Failure{Kind: TaskFailed, Text: fmt.Sprintf("%s is not installed here", tool), Try: "Debian's package slurm-client, on a machine of the cluster"}
		}
	}
	var test strings.Builder
	for _, p := range append([]string{s.Program}, s.Sees...) {
		fmt.Fprintf(&test, "test -r %s || { echo %s; exit 9; }\n", process.Quote(p), process.Quote(p))
	}
	args := append(slices.Clone(s.Options), "--ntasks=1", "--quiet", "--job-name=stillspan-probe",
		fmt.Sprintf("--immediate=%d", int(probeWait.Seconds())), "sh", "-c", test.String())
	out, err := process.Text(ctx, "srun", args...)
	if x, ok := errors.AsType[*exec.ExitError](err); ok && x.ExitCode() == 9 {
		return &Failure{
			Kind: TaskFailed, Text: fmt.Sprintf("a node of the cluster does not see %q", strings.TrimSpace(out)),
			Try: "a place on storage that all nodes share, under the same path",
		}
	}
	if err != nil && ctx.Err() == nil {
		if _, e := process.Text(ctx, "scontrol", "ping"); e != nil {
			return &Failure{Kind: TaskFailed, Text: "the cluster does not answer: " + err.Error(), Try: "'sinfo' shows the state of the cluster"}
		}
	}
	return ctx.Err() // no node is free: each task looks for itself
}

// submit returns the number of the job.
func (s *Slurm) submit(ctx context.Context, script string, args []string) (string, error) {
	args = slices.Concat([]string{"--parsable"}, args, s.Options, []string{script})
	out, err := process.Text(ctx, "sbatch", args...)
	if err != nil {
		return "", &Failure{Kind: TaskFailed, Text: "the cluster refused the jobs: " + err.Error(), Try: "'sinfo' shows the state of the cluster"}
	}
	job, _, _ := strings.Cut(strings.TrimSpace(out), ";")
	if job == "" {
		return "", errors.New("sbatch named no job")
	}
	return job, nil
}

func (s *Slurm) jobFile() string { return filepath.Join(s.Dir, "job") }

// Job is the job that collects the results of the last batch; empty for none.
func (s *Slurm) Job() string {
	b, _ := os.ReadFile(s.jobFile())
	return strings.TrimSpace(string(b))
}

// Busy tells whether the cluster is still at work on the last batch.
func (s *Slurm) Busy(ctx context.Context) bool {
	job := s.Job()
	if job == "" {
		return false
	}
	out, err := process.Text(ctx, "squeue", "--noheader", "--jobs="+job, "--format=%T")
	return err == nil && strings.TrimSpace(out) != ""
}

// Forget drops the number of the last batch: its results are collected.
func (s *Slurm) Forget() error {
	err := os.Remove(s.jobFile())
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	return err
}

// waitStep is how often the cluster is asked for the end of a job.
const waitStep = time.Second

// Wait returns the exit code of a job once it has ended.
func (s *Slurm) Wait(ctx context.Context, job string) (int, error) {
	for {
		out, err := process.Text(ctx, "scontrol", "--oneliner", "show", "job", job)
		if err != nil {
			return 0, fmt.Errorf("cannot ask for job %s: %w", job, err)
		}
		state, code := field(out, "JobState"), 0
		if _, err := fmt.Sscanf(field(out, "ExitCode"), "%d:", &code); err != nil {
			return 0, fmt.Errorf("cannot read the state of job %s: %w", job, err)
		}
		switch state {
		case "PENDING", "CONFIGURING", "RUNNING", "COMPLETING", "SUSPENDED", "REQUEUED", "REQUEUE_HOLD", "RESIZING", "SIGNALING", "STAGE_OUT", "STOPPED":
		case "COMPLETED", "FAILED":
			return code, nil
		default:
			return 0, fmt.Errorf("job %s ended as %s", job, state)
		}
		select {
		case <-ctx.Done():
			return 0, ctx.Err()
		case <-time.After(waitStep):
		}
	}
}

// field is the value of NAME=VALUE in a line of scontrol's.
func field(line, name string) string {
	for f := range strings.FieldsSeq(line) {
		if v, ok := strings.CutPrefix(f, name+"="); ok {
			return v
		}
	}
	return ""
}

// escapePath keeps sbatch from taking percent signs in a path for its own.
func escapePath(p string) string { return strings.ReplaceAll(p, "%", "%%") }
