// A conversation over TCP: bytes in, bytes out. The simulated instrument is put on the network by it.
import { createServer, type Socket } from 'node:net';
import { errorCode, FileProblem } from './files';

/** Answers bytes with bytes, at once. One for all connections, as with an instrument. */
export interface Conversation {
  receive(bytes: Uint8Array): Uint8Array;
}

export interface Served {
  readonly port: number;
  /** Ends every connection as an unplugged cable would; new ones are still taken. */
  dropAll(): void;
  /** Ends every connection and frees the port. */
  close(): Promise<void>;
}

/**
 * Serves on this computer only.
 * @param port 0 takes a free one
 * @throws FileProblem when the port is taken
 */
export function serveTcp(conversation: Conversation, port = 0): Promise<Served> {
  return new Promise((resolve, reject) => {
    const sockets = new Set<Socket>();
    const server = createServer({ noDelay: true }, (socket) => {
      sockets.add(socket);
      socket.on('data', (bytes: Buffer) => {
        const answer = conversation.receive(bytes);
        if (answer.length > 0) socket.write(answer);
      });
      socket.on('error', () => undefined);
      socket.on('close', () => { sockets.delete(socket); });
    });
    const dropAll = (): void => {
      for (const socket of sockets) socket.destroy();
    };
    server.on('error', (error) => {
      reject(new FileProblem(`port ${port}`, errorCode(error) === 'EADDRINUSE' ? 'another program listens on this TCP port; name another' : error.message, error));
    });
    server.listen(port, '127.0.0.1', () => {
      const at = server.address();
      if (at === null || typeof at === 'string') throw new Error('a TCP server has no port');
      resolve({
        port: at.port, dropAll,
        close: () => new Promise((closed) => {
          dropAll();
          server.close(() => { closed(); });
        }),
      });
    });
  });
}
