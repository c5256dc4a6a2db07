#!/bin/sh
# Starts a one-node Slurm with munge on loopback, runs a command in it and
# stops what it started. Needs root and Debian's packages slurm-wlm and munge.
#
#   scripts/cluster.sh COMMAND [ARGUMENTS]
#
# The command finds SLURM_CONF set, so that sbatch, squeue and scontrol talk to
# this cluster and no other. Everything lies in a temporary folder.
set -eu

if [ $# -eq 0 ]; then
	echo "usage: $0 COMMAND [ARGUMENTS]" >&2
	exit 2
fi
if [ "$(id -u)" -ne 0 ]; then
	echo "cluster.sh: needs root: the daemons of the cluster start as root" >&2
	exit 1
fi
if ! command -v slurmctld >/dev/null || ! command -v munged >/dev/null; then
	apt-get install -y --no-install-recommends slurm-wlm munge >/dev/null
fi

dir=$(mktemp -d /tmp/cluster.XXXXXX)
chmod 755 "$dir"
mkdir "$dir/state" "$dir/spool"
up=

# stop ends the daemons by the process ids they wrote, workers first.
stop() {
	status=$?
	trap - EXIT INT TERM
	for name in slurmd slurmctld munged; do
		pid=$(cat "$dir/$name.pid" 2>/dev/null || true)
		[ -n "$pid" ] || continue
		kill "$pid" 2>/dev/null || continue
		n=0
		while kill -0 "$pid" 2>/dev/null && [ $n -lt 50 ]; do
			sleep 0.1
			n=$((n + 1))
		done
		kill -9 "$pid" 2>/dev/null || true
	done
	[ -n "$up" ] || tail -n 20 "$dir"/*.log >&2 || true
	rm -rf "$dir"
	exit $status
}
trap stop EXIT
trap 'exit 130' INT TERM

# A key of this run alone.
dd if=/dev/urandom of="$dir/munge.key" bs=1024 count=1 2>/dev/null
chmod 400 "$dir/munge.key"
munged --key-file="$dir/munge.key" --socket="$dir/munge.sock" \
	--pid-file="$dir/munged.pid" --log-file="$dir/munged.log" \
	--seed-file="$dir/munge.seed"

host=$(hostname -s)
cpus=$(nproc)
memory=$(awk '/^MemTotal:/ { print int($2 / 1024) }' /proc/meminfo)
cat >"$dir/slurm.conf" <<END
ClusterName=loopback
SlurmctldHost=$host(127.0.0.1)
SlurmctldPort=26817
SlurmdPort=26818
AuthType=auth/munge
AuthInfo=socket=$dir/munge.sock
CredType=cred/munge
SlurmUser=root
SlurmdUser=root
StateSaveLocation=$dir/state
SlurmdSpoolDir=$dir/spool
SlurmctldPidFile=$dir/slurmctld.pid
SlurmdPidFile=$dir/slurmd.pid
SlurmctldLogFile=$dir/slurmctld.log
SlurmdLogFile=$dir/slurmd.log
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
SwitchType=switch/none
MpiDefault=none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
JobCompType=jobcomp/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
SlurmdParameters=config_overrides
SchedulerParameters=sched_interval=1,sched_min_interval=100000,batch_sched_delay=0
MinJobAge=3600
ReturnToService=2
RequeueExit=75
NodeName=$host NodeAddr=127.0.0.1 CPUs=$cpus RealMemory=$memory State=UNKNOWN
PartitionName=day Nodes=$host Default=YES MaxTime=INFINITE State=UP
END
export SLURM_CONF="$dir/slurm.conf"

slurmctld -f "$SLURM_CONF"
slurmd -f "$SLURM_CONF"
n=0
until sinfo -h -o %t 2>/dev/null | grep -q idle; do
	n=$((n + 1))
	if [ $n -gt 100 ]; then
		echo "cluster.sh: the node did not come up" >&2
		exit 1
	fi
	sleep 0.2
done
up=yes
"$@"
