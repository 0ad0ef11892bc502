/* The plainest thing that can stop a motor over a port: reads frames, compares one count, writes one frame. No judge, no
 * session, no record. Compiled by bench/guard.ts to be measured beside the guard. Usage: responder PORT LIMIT HEX */
#include <fcntl.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <termios.h>
#include <unistd.h>

enum { ROW = 0x83, ROW_FRESH = 13, ROW_VALUES = 15 };

int main(int argc, char **argv) {
  if (argc != 4) return 2;
  int fd = open(argv[1], O_RDWR | O_NOCTTY);
  if (fd < 0) { perror(argv[1]); return 1; }
  struct termios t;
  if (tcgetattr(fd, &t) == 0) { cfmakeraw(&t); tcsetattr(fd, TCSANOW, &t); }
  setpriority(PRIO_PROCESS, 0, -14);
  long limit = strtol(argv[2], NULL, 10);
  uint8_t answer[64];
  size_t answer_length = strlen(argv[3]) / 2;
  for (size_t i = 0; i < answer_length && i < sizeof answer; i++) sscanf(argv[3] + 2 * i, "%2hhx", &answer[i]);

  uint8_t in[16384], row[128];
  int length = 0, left = -1; /* COBS: bytes left in the block, -1 between frames */
  puts("ready");
  fflush(stdout);
  for (;;) {
    ssize_t n = read(fd, in, sizeof in);
    if (n <= 0) return 0;
    for (ssize_t i = 0; i < n; i++) {
      uint8_t b = in[i];
      if (b == 0) {
        if (length > ROW_VALUES + 4 && row[0] == ROW && (row[ROW_FRESH] & 1)) {
          int32_t count;
          memcpy(&count, row + ROW_VALUES, 4);
          if (count > limit && write(fd, answer, answer_length) < 0) return 1;
        }
        length = 0;
        left = -1;
      } else if (left < 0) {
        left = b - 1;
      } else if (left == 0) {
        if (length < (int)sizeof row) row[length++] = 0;
        left = b - 1;
      } else {
        if (length < (int)sizeof row) row[length++] = b;
        left--;
      }
    }
  }
}
