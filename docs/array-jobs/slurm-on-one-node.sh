#!/bin/bash
# Slurm from Debian's packages on this one machine, a campaign as its array, the merge.
#   sudo bash docs/array-jobs/slurm-on-one-node.sh shuttle 100000 shuttle-campaign
# For trying it out in a container or virtual machine of your own: it starts daemons as root and
# ends them again. `slipwarden` must be in the PATH. Exit code: that of the merge.
set -euo pipefail
file=${1:?driveline file or demo} cases=${2:?number of cases} out=${3:?folder}
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
command -v slipwarden >/dev/null || { echo "slipwarden is not in the PATH" >&2; exit 2; }

if ! command -v slurmctld >/dev/null || ! command -v munged >/dev/null; then
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends slurm-wlm munge
fi

state=$(mktemp -d)
node=$(hostname -s)
daemons=()
end() {
    [ ${#daemons[@]} -eq 0 ] || kill "${daemons[@]}" 2>/dev/null || true
    wait || true
    rm -rf "$state"
}
trap end EXIT

# Everything of this cluster lives in $state.
export SLURM_CONF=$state/slurm.conf
mkdir "$state/ctld" "$state/d"
cat >"$SLURM_CONF" <<CONF
ClusterName=one
SlurmctldHost=$node(127.0.0.1)
SlurmUser=root
AuthType=auth/munge
AuthInfo=socket=$state/munge/socket
StateSaveLocation=$state/ctld
SlurmdSpoolDir=$state/d
SlurmctldPidFile=$state/slurmctld.pid
SlurmdPidFile=$state/slurmd.pid
ProctrackType=proctrack/linuxproc
TaskPlugin=task/none
JobAcctGatherType=jobacct_gather/none
AccountingStorageType=accounting_storage/none
MpiDefault=none
SwitchType=switch/none
SelectType=select/cons_tres
SelectTypeParameters=CR_CPU
ReturnToService=2
NodeName=$node NodeAddr=127.0.0.1 CPUs=$(nproc) State=UNKNOWN
PartitionName=all Nodes=$node Default=YES MaxTime=INFINITE State=UP
CONF

# munged insists on folders that only its own user can write to.
chmod 755 "$state"
install -d -o munge -g munge -m 755 "$state/munge"
dd if=/dev/urandom of="$state/munge/key" bs=128 count=1 status=none
chown munge:munge "$state/munge/key"
chmod 400 "$state/munge/key"
runuser -u munge -- munged --foreground --key-file="$state/munge/key" \
    --socket="$state/munge/socket" --pid-file="$state/munge/pid" \
    --seed-file="$state/munge/seed" >"$state/munge.log" 2>&1 &
daemons+=($!)
until [ -S "$state/munge/socket" ]; do sleep 0.1; done
slurmctld -D >"$state/ctld.log" 2>&1 &
daemons+=($!)
slurmd -D -N "$node" >"$state/d.log" 2>&1 &
daemons+=($!)
for _ in $(seq 100); do
    case $(sinfo -h -o %T 2>/dev/null || true) in idle*) break ;; esac
    sleep 0.2
done
sinfo || { tail -n 20 "$state"/*.log >&2; exit 2; }

mkdir -p "$out"
# --wait: until every task of the array has ended.
sbatch --wait --output="$out/task-%a.log" "$here/campaign.sbatch" "$file" "$cases" "$out" ||
    { tail -n 20 "$state"/*.log "$out"/task-*.log >&2; exit 2; }
slipwarden merge "$out" --driveline "$file"
