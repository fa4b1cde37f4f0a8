// SPDX-License-Identifier: Apache-2.0
// One command and its answer on two lines, one of them in a vector and again through a module port, with unknown
// levels at the beginning and a stretch that is not dumped. What the simulator writes is read by the program.
`timescale 1us/1us
module probe(input wire seen);
endmodule

module bench;
	reg [2:0] lines; // bit 0 controller, bit 1 peripheral, bit 2 something else
	reg noise;
	probe p(.seen(lines[0]));

	task word(input integer line, input [7:0] value, input mode);
		integer i;
		begin
			lines[line] = 0;
			#104;
			for (i = 0; i < 8; i = i + 1) begin
				lines[line] = value[i];
				#104;
			end
			lines[line] = mode;
			#104;
			lines[line] = 1;
			#108;
		end
	endtask

	always #700 lines[2] = ~lines[2];

	initial begin
		$dumpfile("dump.vcd");
		$dumpvars(0, bench);
		#3000;
		lines = 3'b111;
		noise = 0;
		repeat (12) begin
			#20000;
			word(0, 8'h12, 1); word(0, 8'h12, 0);
			#1500;
			word(1, 8'h05, 0); word(1, 8'h00, 0); word(1, 8'h96, 0); word(1, 8'h9B, 1);
			#1500;
			word(0, 8'h00, 0);
		end
		$dumpoff;
		#50000;
		$dumpon;
		#20000;
		word(0, 8'h0B, 1); word(0, 8'h0B, 0);
		#1500;
		word(1, 8'h00, 1);
		#9000;
		$finish;
	end
endmodule
