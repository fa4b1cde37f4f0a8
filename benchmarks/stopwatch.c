/* SPDX-License-Identifier: Apache-2.0 */
/* stopwatch COMMAND...: runs it with its output thrown away and prints its seconds, peak memory in kB and exit code.
 * A small program of its own, because the kernel counts the memory of whoever starts a process as its peak. */
#include <fcntl.h>
#include <stdio.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

int main(int argc, char **argv)
{
	struct timespec t0, t1;
	struct rusage usage;
	int status, nowhere;
	pid_t child;

	if (argc < 2)
		return 2;
	clock_gettime(CLOCK_MONOTONIC, &t0);
	child = fork();
	if (child == 0) {
		nowhere = open("/dev/null", O_RDWR);
		if (nowhere < 0 || dup2(nowhere, 0) < 0 || dup2(nowhere, 1) < 0)
			_exit(127);
		execvp(argv[1], argv + 1);
		_exit(127);
	}
	if (child < 0 || wait4(child, &status, 0, &usage) != child)
		return 2;
	clock_gettime(CLOCK_MONOTONIC, &t1);
	printf("%.6f %ld %d\n", (double)(t1.tv_sec - t0.tv_sec) + (double)(t1.tv_nsec - t0.tv_nsec) / 1e9, usage.ru_maxrss,
	       WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status));
	return 0;
}
